"""Same input, same bits: with any number of threads, each set of instructions, after a fork."""

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import catoptric as ct
import pytest

PROGRAM = Path(__file__).with_name("answers.py")

linux = pytest.mark.skipif(not hasattr(os, "fork"), reason="forks a process")


def answers(threads, simd="avx512", forks=False):
    """Return what a process with so many threads answers."""
    environment = os.environ | {"CATOPTRIC_NUM_THREADS": str(threads), "CATOPTRIC_SIMD": simd}
    ran = subprocess.run(
        [sys.executable, "-W", "ignore", PROGRAM, "forks" if forks else "alone"],
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)


@pytest.mark.parametrize("simd", ["avx512", "avx2", "portable"])
def test_the_same_bits_at_any_number_of_threads(simd):
    (alone,) = answers(1, simd)
    assert len(alone) == 20
    for threads in (2, 3, 8) if simd == "avx512" else (3,):
        assert answers(threads, simd) == [alone], f"{threads} threads"


@linux
def test_the_same_bits_in_processes_forked_after_the_threads_were_used():
    found = answers(2, forks=True)
    assert len(found) == 4
    assert found == [found[0]] * 4


def test_threads_of_the_caller_at_once_get_the_same_bits():
    train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))

    def spot(_):
        return train.spot_of_rings(field_arcmin=(5, 0), rings=2000, rays_per_ring=300)

    alone = spot(0)
    with ThreadPoolExecutor(8) as threads:
        assert all(found == alone for found in threads.map(spot, range(24)))
