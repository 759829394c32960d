"""The types: typical use passes mypy's strict mode, mistakes do not, and the stubs tell the truth.

This file is checked by the first test in it. A `type: ignore` here is a claim that mypy refuses the
line; mypy complains about each that is not needed.
"""

import ast
import inspect
from pathlib import Path
from typing import TYPE_CHECKING

import catoptric as ct
import numpy as np
import pytest
from catoptric import _core, plotting
from mypy import api

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STUB = Path(ct.__file__).with_name("_core.pyi")
DATA = Path(__file__).resolve().parents[2] / "notebooks-demo" / "data"


def typical_use() -> tuple[float, ct.Table]:
    """Use the package as a program would; what mypy cannot follow is an error."""
    train = ct.Train(
        primary=ct.Primary(
            clear_aperture_mm=318,
            focal_length_mm=np.float32(1558),
            figure=[ct.TurnedEdge(width_mm=9, drop_nm=330)],
            coating=ct.Coating(reflectance=0.88),
        ),
        diagonal=ct.Diagonal(minor_axis_mm=70),
        focal_plane=ct.FocalPlane(axis_to_focus_mm=235),
    )
    smaller = train.with_diagonal(minor_axis_mm=64, offset_mm=None)
    masked = smaller.with_primary(mask_diameter_mm=np.int64(308)).with_drawtube(None)
    spot: ct.Spot = masked.spot(field_arcmin=(10, 0.5), focus="least_spot")
    held: float = spot.stopped["diagonal"] + spot.radius_80_um
    star = masked.psf(focus_shift_mm=0.01).encircled_energy([1, 2.5])
    energy: float = star.max()
    radial: ct.RadialIllumination = masked.illumination(radius_mm=np.arange(3))
    points: ct.Illumination = masked.illumination(along_mm=(0, 1), across_mm=np.zeros(2))
    figure = ct.KnifeEdgeReadings.from_csv(
        DATA / "fenlight_after.csv",
        clear_aperture_mm=318,
        radius_of_curvature_mm=3116,
        source="moving",
        readings_increase="away_from_mirror",
    ).reduce()
    low, high = figure.strehl_interval
    verdict = ct.judge_refigure(before=figure, after=figure, train=None)
    if verdict.verdict == "cannot tell":
        held += low + high
    works = [ct.Work.mask(diameter_mm=308, price=4), ct.Work.refigure(after=figure, price=880)]
    ladder: ct.ValueLadder = ct.value_ladder(train, works=works[:1], weights={"light": 0.5})
    held += ladder.rows[0].gains[0].gain + ct.judgement(train).numbers[0].value
    mirror: ct.Primary = figure.primary(conic=-0.9)
    terms: dict[int, float] = masked.wavefront().zernikes(indexing="osa")
    seen = ct.knife_edge_picture(mirror, source="moving", stage_mm=1, slit_width_um=20, pixels=11)
    expected = ct.expected_readings(mirror, source="fixed", radius_mm=[40, 60])
    held += seen.wavelength_nm[0] + seen.image.max() + expected.max()
    total = held + energy + points.absolute.sum() + mirror.conic + terms[4]
    return float(total), radial.to_table()


def pictures(spot: ct.Spot, star: ct.Psf, light: ct.RadialIllumination, ax: "Axes") -> "Axes":
    plotting.spot(spot, ax)
    plotting.star_image(star)
    plotting.illumination(light)
    return star.wavefront.plot(ax)


def mistakes(train: ct.Train) -> None:
    """Lines that mypy must refuse; they are never run."""
    ct.Diagonal(minor_axis_mm="70")  # type: ignore[arg-type]
    ct.Diagonal(minor_axis_mm=70j)  # type: ignore[arg-type]
    ct.Diagonal(70)  # type: ignore[call-arg]
    train.spot(focus="sharpest")  # type: ignore[arg-type]
    ct.value_ladder(train, works=["mask"])  # type: ignore[list-item]
    train.with_diagonal(minor_axis=70)  # type: ignore[call-arg]
    train.with_diagonal(ct.FocalPlane(axis_to_focus_mm=235))  # type: ignore[arg-type]
    train.illumination(radius_mm=[0.0], along_mm=[0.0])  # type: ignore[call-overload]
    train.airy().intensity(3.0)  # type: ignore[arg-type]
    phasors = np.zeros(2, dtype=np.complex128)
    train.airy().intensity(phasors)  # type: ignore[arg-type]
    train.wavefront().rms_mm  # type: ignore[attr-defined]  # noqa: B018
    train.primary = train.primary  # type: ignore[misc]


def test_mypy_accepts_typical_use_and_refuses_mistakes(tmp_path: Path) -> None:
    options = ["--strict", "--config-file=", f"--cache-dir={tmp_path}"]
    said, complained, status = api.run([*options, __file__])
    assert (said, complained, status) == (
        "Success: no issues found in 1 source file\n",
        "",
        0,
    )


def test_what_mypy_accepts_runs() -> None:
    total, table = typical_use()
    assert np.isfinite(total)
    assert table.rows == 3


def constructors() -> dict[str, ast.FunctionDef]:
    """Return the `__new__` of each class in the stub."""
    found = {}
    for node in ast.parse(STUB.read_text()).body:
        if isinstance(node, ast.ClassDef):
            for member in node.body:
                if isinstance(member, ast.FunctionDef) and member.name == "__new__":
                    found[node.name] = member
    return found


# stubtest compares methods and functions, but cannot see what a compiled constructor takes.


@pytest.mark.parametrize(("name", "stub"), [*constructors().items()])
def test_the_stub_of_a_constructor_is_its_signature(name: str, stub: ast.FunctionDef) -> None:
    written = {
        argument.arg: ast.literal_eval(default) if default else inspect.Parameter.empty
        for argument, default in zip(stub.args.kwonlyargs, stub.args.kw_defaults, strict=True)
    }
    # What is worked on may come first without its name, as the trains of a batch do.
    first = [argument.arg for argument in stub.args.args[1:]]
    written |= dict.fromkeys(first, inspect.Parameter.empty)
    signature = inspect.signature(getattr(_core, name)).parameters
    assert {p.name: p.default for p in signature.values()} == written
    assert [p.name for p in signature.values() if p.kind is not p.KEYWORD_ONLY] == first


def test_all_classes_that_can_be_constructed_are_in_the_stub() -> None:
    with_signature = {
        name
        for name in _core.__all__
        if inspect.isclass(getattr(_core, name)) and getattr(_core, name).__text_signature__
    }
    assert with_signature == constructors().keys()
