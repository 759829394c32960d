"""The machine that rows are measured on: one core and one thread of it, and what it is."""

from __future__ import annotations

import importlib
import os
import platform
import sys
import time

_THREADS = (
    "CATOPTRIC_NUM_THREADS",
    "NUMBA_NUM_THREADS",
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
)


def take_one_core(core: int | None = None, instructions: str | None = None) -> None:
    """Pin this process to one core, and hold everything in it to one thread.

    Libraries read their variables when they are loaded, so this comes before them. The core is the
    last that the process may use, unless one is named.

    Errors: `RuntimeError` where a library has been loaded before, or is asked for instructions
    that the processor has not.
    """
    loaded = {"numpy", "numba", "catoptric"} & set(sys.modules)
    if loaded:
        raise RuntimeError(f"{', '.join(sorted(loaded))} loaded before the core was taken")
    for name in _THREADS:
        os.environ[name] = "1"
    if instructions is not None:
        os.environ["CATOPTRIC_SIMD"] = instructions
    if hasattr(os, "sched_setaffinity"):
        last = max(os.sched_getaffinity(0))
        os.sched_setaffinity(0, {last if core is None else core})
    in_use = importlib.import_module("catoptric").vector_instructions()
    if instructions not in (None, in_use):
        raise RuntimeError(f"{instructions} is not on this processor, which has {in_use}")


def facts() -> dict[str, str]:
    """Return what a table of times has to say of its machine: no names of makers."""
    versions = [f"Python {platform.python_version()}"]
    for name in ("catoptric", "numpy", "scipy", "numba"):
        try:
            versions.append(f"{name} {importlib.import_module(name).__version__}")
        except ModuleNotFoundError:
            versions.append(f"{name} not installed")
    kind = platform.machine()
    speed = _clock_ghz()
    return {
        "date": time.strftime("%Y-%m-%d"),
        "processor": kind if speed is None else f"{kind}, {speed:.1f} GHz",
        "cores": f"one of {os.cpu_count()}",
        "instructions": importlib.import_module("catoptric").vector_instructions(),
        "versions": ", ".join(versions),
        "load": " ".join(f"{load:.1f}" for load in os.getloadavg()),
    }


def _clock_ghz() -> float | None:
    """Return the clock that the system states, GHz."""
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as about:
            lines = [line for line in about if line.startswith("cpu MHz")]
    except OSError:
        return None
    return float(lines[0].split(":")[1]) / 1000 if lines else None
