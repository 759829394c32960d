"""Maps of heights from files that other libraries read: numpy's `.npy`, FITS through astropy."""

from __future__ import annotations

import importlib
import os
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from ._units import as_array, to_float
from .errors import InputError

__all__ = ["read_height_nm"]

NM = {"nm": 1.0, "um": 1000.0}
SURFACE_SHARE = {"surface": 1.0, "wavefront": 0.5}


def read_height_nm(
    path: str | os.PathLike[str], *, unit: str, kind: str, wavelength_nm: Any = None
) -> npt.NDArray[np.float64]:
    """Return the heights of the glass in a file, nm, row by row; NaN where nothing was measured.

    A wavefront is halved, which is what a mirror makes of its own heights in the paraxial limit.

    Units: `unit` is what a number of the file is worth: `"nm"`, `"um"`, or `"waves"` of
    `wavelength_nm`, which is asked for then and only then.
    Shapes: a table of two dimensions.
    Errors: `InputError` for names that are not known, a wavelength that is missing or not used,
    files that end in neither `.npy` nor `.fits` (`.fit`, `.fts`, and those with `.gz`), and
    files without a table of real numbers; `OSError` where there is no such file.
    Leaves out: the header. Units, scale and orientation are what the caller says.

    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "mirror.npy"
    >>> np.save(file, np.array([[0.0, 2.0]]))
    >>> assert read_height_nm(file, unit="um", kind="wavefront").tolist() == [[0.0, 1000.0]]
    """
    worth_nm = _share(kind) * _unit_nm(unit, wavelength_nm)
    file = Path(path)
    ending = "".join(file.suffixes[-2:]) if file.suffix == ".gz" else file.suffix
    if ending.lower() == ".npy":
        table = _from_npy(file)
    elif ending.lower().removesuffix(".gz") in {".fits", ".fit", ".fts"}:
        table = _from_fits(file)
    else:
        raise InputError.about("path", file, "a file that ends in .npy or .fits", "another kind?")
    return as_array(table, "", f"the table of {file.name}", 2, may_miss=True) * worth_nm


def _share(kind: str) -> float:
    if kind not in SURFACE_SHARE:
        allowed = "'surface' (heights of the glass) or 'wavefront' (twice that)"
        raise InputError.about("kind", kind, allowed)
    return SURFACE_SHARE[kind]


def _unit_nm(unit: str, wavelength_nm: Any) -> float:
    if unit == "waves":
        if wavelength_nm is None:
            allowed = "the wavelength of the light whose waves are counted"
            raise InputError.about("wavelength_nm", "nothing", allowed, "a laser's 632.8 nm?")
        length_nm = to_float(wavelength_nm, "nm", "wavelength_nm")
        if not 200 <= length_nm <= 30_000:
            cause = "micrometres given for nanometres?"
            raise InputError.about("wavelength_nm", length_nm, "200 to 30000 nm", cause)
        return length_nm
    if unit not in NM:
        raise InputError.about("unit", unit, "'nm', 'um' or 'waves'", "what the file's numbers are")
    if wavelength_nm is not None:
        cause = "waves written as nanometres?"
        raise InputError.about("wavelength_nm", wavelength_nm, f"nothing beside {unit}", cause)
    return NM[unit]


def _from_npy(file: Path) -> Any:
    try:
        return np.load(file, allow_pickle=False)
    except ValueError as error:
        raise InputError.about(
            "path", file, "a table of numbers as numpy saves it", str(error)
        ) from error


def _from_fits(file: Path) -> Any:
    try:
        fits = importlib.import_module("astropy.io.fits")
    except ImportError as error:
        cause = "astropy is not installed: pip install astropy, or save the map as .npy"
        raise InputError.about("path", file, "a FITS file, which astropy reads", cause) from error
    if not file.exists():
        raise FileNotFoundError(f"{file}: no such file")
    try:
        with fits.open(file, memmap=False) as parts:
            pictures = [part.data for part in parts if part.is_image and part.data is not None]
    except OSError as error:
        raise InputError.about("path", file, "a FITS file", str(error)) from error
    if not pictures:
        raise InputError.about("path", file, "a FITS file with a picture in it", "a table alone?")
    return pictures[0].astype(np.float64) if pictures[0].dtype.kind in "iuf" else pictures[0]
