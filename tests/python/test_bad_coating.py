"""Coatings, maps and prices that cannot be: field, value, what is allowed and the likely cause."""

import catoptric as ct
import numpy as np
import pytest
from samples import coating_outline, fresh_coat, lamp_spots, newtonian, old_newtonian, primary

FILM = ct.MetalFilm(metal="aluminium", thickness_nm=90)


def refusal(make, *arguments, **keywords):
    with pytest.raises(ct.InputError) as caught:
        make(*arguments, **keywords)
    return caught.value


def coat(**parts):
    return ct.Train(primary=primary(coating=ct.Coating(**parts)))


def ring(**changes):
    sizes = {"inner_radius_mm": 112, "outer_radius_mm": 139, "reflectance": 0.74}
    return coat(rings=[ct.CoatingRing(**(sizes | changes))])


def patch(**changes):
    sizes = {"x_mm": -46, "y_mm": 71, "radius_mm": 36, "reflectance": 0.42}
    return coat(patches=[ct.CoatingPatch(**(sizes | changes))])


def film(**changes):
    return ct.MetalFilm(**({"metal": "aluminium", "thickness_nm": 90} | changes))


def thin_ring(**changes):
    sizes = {"inner_radius_mm": 112, "outer_radius_mm": 139, "thickness_nm": 40}
    return coat(metal=ct.MetalCoat(film=FILM, rings=[ct.ThinRing(**(sizes | changes))]))


def thin_patch(**changes):
    sizes = {"x_mm": -46, "y_mm": 71, "radius_mm": 36, "thickness_nm": 40}
    return coat(metal=ct.MetalCoat(film=FILM, patches=[ct.ThinPatch(**(sizes | changes))]))


def shares(value, **changes):
    given = {"pixel_mm": 8, "rows_run": "-y", "columns_run": "+x"} | changes
    return coat(map=ct.ReflectanceMap(reflectance=np.full((50, 50), value), **given))


def thicknesses(value):
    net = ct.ThicknessMap(
        thickness_nm=np.full((50, 50), value), pixel_mm=8, rows_run="-y", columns_run="+x"
    )
    return coat(metal=ct.MetalCoat(film=FILM, map=net))


def flat(**changes):
    return newtonian(diagonal=ct.Diagonal(minor_axis_mm=70, **changes))


def recoat(**changes):
    return ct.Work.recoat(**({"mirror": "primary", "reflectance": 0.91, "price": 240} | changes))


def recoats(fresh=None, **prices):
    given = ct.RecoatPrices(**({"diagonal": 35, "primary": 240} | prices))
    return ct.recoat(old_newtonian(), fresh=fresh or fresh_coat(), prices=given)


def outline_off_the_mirror(x_mm):
    outline = ct.CoatingOutline(patches=[ct.OutlinePatch(x_mm=x_mm, y_mm=0, radius_mm=9)])
    return lamp_spots().fit(outline)


# What is wrong, the field, the value, and a word of what is allowed and of the cause.
WRONG = [
    (coat, {"reflectance": 90}, "coating.reflectance", "90", "share", "per cent"),
    (coat, {"reflectance": 1.01}, "coating.reflectance", "1.01", "not above 1", "per cent"),
    (ring, {"reflectance": 90}, "coating.rings[0].reflectance", "90", "share", "per cent"),
    (patch, {"reflectance": 90}, "coating.patches[0].reflectance", "90", "share", "per cent"),
    (shares, {"value": 90}, "map.reflectance[0][0]", "90", "not above 1", "per cent"),
    (flat, {"reflectance": 90}, "diagonal.reflectance", "90", "share", "per cent"),
    (recoat, {"reflectance": 90}, "primary_reflectance", "90", "share", "per cent"),
    (
        recoats,
        {"fresh": fresh_coat(primary_reflectance=90)},
        "fresh[0].primary_reflectance",
        *("90", "share", "per cent"),
    ),
    (lamp_spots, {"reference_reflectance": 90}, "reference_reflectance", "90", "share", "per cent"),
    (film, {"thickness_nm": -5}, "thickness_nm", "-5", "0 to 2000 nm", "micrometres"),
    (thin_ring, {"thickness_nm": -5}, "rings[0].thickness_nm", "-5", "2000 nm", "micrometres"),
    (thin_patch, {"thickness_nm": -5}, "patches[0].thickness_nm", "-5", "2000 nm", "micrometres"),
    (thicknesses, {"value": -5}, "map.thickness_nm[0][0]", "-5", "2000 nm", "micrometres"),
    (patch, {"x_mm": 170}, "patches[0].x_mm", "170", "place on the mirror", "rim"),
    (thin_patch, {"y_mm": -170}, "patches[0].y_mm", "-170", "place on the mirror", "rim"),
    (outline_off_the_mirror, {"x_mm": 190}, "patches[0].x_mm", "190", "on the mirror", "rim"),
    (recoat, {"price": -4}, "price", "-4", "0 or more", "sign"),
    (recoats, {"diagonal": -4}, "prices[0].diagonal", "-4", "0 or more", "sign"),
    (recoats, {"primary": -4}, "prices[0].primary", "-4", "0 or more", "sign"),
    (recoats, {"both": -4}, "prices[0].both", "-4", "0 or more", "sign"),
]


@pytest.mark.parametrize(("make", "changes", "field", "value", "allowed", "cause"), WRONG)
def test_what_cannot_be_says_field_value_allowed_and_cause(
    make, changes, field, value, allowed, cause
):
    error = refusal(make, **changes)
    (problem,) = error.problems
    assert problem.field.endswith(field)
    assert value in problem.value
    assert allowed in problem.allowed
    assert cause in problem.cause
    for text in (field, value, allowed, cause):
        assert text in str(error)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: ct.Coating(reflectance="90"), "reflectance"),
        (
            lambda: ct.CoatingRing(inner_radius_mm=1, outer_radius_mm=2, reflectance="90"),
            "reflectance",
        ),
        (
            lambda: ct.CoatingPatch(x_mm=0, y_mm=0, radius_mm=2, reflectance="90"),
            "reflectance",
        ),
        (lambda: ct.Diagonal(minor_axis_mm=70, reflectance="90"), "reflectance"),
        (lambda: recoat(reflectance="90"), "reflectance"),
        (lambda: fresh_coat(diagonal_reflectance="90"), "diagonal_reflectance"),
        (lambda: lamp_spots(reference_reflectance="90"), "reference_reflectance"),
        (lambda: film(thickness_nm="90"), "thickness_nm"),
        (lambda: recoat(price="4"), "price"),
        (lambda: ct.RecoatPrices(diagonal="35", primary=240), "diagonal"),
    ],
)
def test_a_text_is_no_number(make, field):
    (problem,) = refusal(make).problems
    assert problem.field.endswith(field)
    assert any(text in problem.value for text in ("90", "35", "4"))
    assert "number" in problem.allowed


def test_haze_or_metal_is_asked_for():
    estimate = lamp_spots().fit(coating_outline())
    for make in (
        lambda: estimate.coating(),
        lambda: ct.coating_effect(old_newtonian(), fresh=fresh_coat(), estimate=estimate),
    ):
        (problem,) = refusal(make).problems
        assert problem.field == "wear"
        assert "haze" in problem.allowed
        assert "film" in problem.allowed.lower()
    (problem,) = refusal(estimate.coating, wear="dust").problems
    assert (problem.field, "dust" in problem.value) == ("wear", True)


def test_a_map_lies_as_it_is_said_to():
    with pytest.raises(TypeError, match="rows_run"):
        ct.ReflectanceMap(reflectance=np.full((50, 50), 0.9), pixel_mm=8, columns_run="+x")
    with pytest.raises(TypeError, match="columns_run"):
        ct.ThicknessMap(thickness_nm=np.full((50, 50), 90.0), pixel_mm=8, rows_run="+y")
    (problem,) = refusal(shares, value=0.9, rows_run="up").problems
    assert (problem.field, "up" in problem.value, "+x" in problem.allowed) == (
        "rows_run",
        True,
        True,
    )
    (problem,) = refusal(shares, value=0.9, columns_run="+y").problems
    assert problem.field.endswith("columns_run")
    text = shares(0.9).to_json()
    with pytest.raises(ct.CatoptricError, match="rows_run"):
        ct.Train.from_json(text.replace('"rows_run"', '"rows_went"'))
