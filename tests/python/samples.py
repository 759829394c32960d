"""Trains, readings and results that several tests look at.

The telescope and its readings are the invented ones of the first notebook; the surface behind the
readings is known, see notebooks-demo/data/README.md.
"""

import functools
import json
import math
from pathlib import Path

import catoptric as ct
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
READINGS = ROOT / "notebooks-demo" / "data"
TRUTH = ROOT / "tests" / "data"

BENCH = {
    "clear_aperture_mm": 318,
    "radius_of_curvature_mm": 3116,
    "source": "moving",
    "readings_increase": "away_from_mirror",
}

MASK = {"inner_radius_mm": [0, 90], "outer_radius_mm": [70, 159]}

HILL = ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28)
HOLLOW = ct.Zone(radius_mm=60, half_width_mm=16, height_nm=-9)
WIDE_EDGE = ct.TurnedEdge(width_mm=9, drop_nm=330)
NARROW_EDGE = ct.TurnedEdge(width_mm=3, drop_nm=60)
RIPPLED_NM = [[(3.0 * i + 2.0 * j) % 7 for j in range(42)] for i in range(41)]
FENLIGHT = {
    "before": {"conic": -0.88, "figure": [WIDE_EDGE, HILL]},
    "after": {"conic": -0.985, "figure": [NARROW_EDGE, HOLLOW]},
    "touch_up": {"conic": -0.97, "figure": [NARROW_EDGE, HOLLOW]},
}


def rows(file, /, **wanted):
    """Return the rows of a file of outside truth that have these values; there must be some."""
    found = [
        row
        for row in json.loads((TRUTH / f"{file}.json").read_text())["rows"]
        if all(row.get(key) == value for key, value in wanted.items())
    ]
    assert found, f"no rows of {file}.json with {wanted}"
    return found


def primary(**changes):
    return ct.Primary(**({"clear_aperture_mm": 318, "focal_length_mm": 1558} | changes))


def bare(**changes):
    """Return a train of a primary alone."""
    return ct.Train(primary=primary(**changes))


def newtonian(**changes):
    """Return a train with a diagonal and a focal plane."""
    parts = {
        "primary": primary(),
        "diagonal": ct.Diagonal(minor_axis_mm=70),
        "focal_plane": ct.FocalPlane(axis_to_focus_mm=235),
    }
    return ct.Train(**(parts | changes))


def complete():
    """Return a train with every part, and a primary with every kind of layer."""
    profile = ct.RadialProfile(radius_mm=[0, 80, 159], height_nm=[0, 1.5, -2.5])
    ring = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.74)
    patch = ct.CoatingPatch(x_mm=-46, y_mm=71, radius_mm=20, reflectance=0.5)
    return newtonian(
        primary=primary(
            conic=-0.98,
            mask_diameter_mm=310,
            figure=[WIDE_EDGE, HILL, profile],
            coating=ct.Coating(reflectance=0.88, rings=[ring], patches=[patch]),
        ),
        diagonal=ct.Diagonal(minor_axis_mm=70, offset_mm=3.25, reflectance=0.9),
        front_opening=ct.Opening(diameter_mm=360, above_vertex_mm=1650),
        drawtube=ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18),
        spider=ct.Spider(vanes=4, thickness_mm=1.0),
        holder=ct.Holder(diameter_mm=68),
        mirror_clips=ct.MirrorClips(clips=3, width_mm=20, reach_mm=6, angle_deg=30),
        focuser_board=ct.FocuserBoard(hole_mm=64, axis_to_board_mm=180),
        filter_ring=ct.FilterRing(diameter_mm=46, before_focus_mm=40),
        sensor_mask=ct.SensorMask(along_mm=44, across_mm=40, before_focus_mm=10, rotation_deg=10),
    )


def misplaced():
    """Return a flat of thick glass that stands crookedly."""
    error = ct.Misplacement(toward_primary_mm=0.8, across_mm=-0.5, nod_arcmin=6, roll_arcmin=-9)
    return ct.Diagonal(
        minor_axis_mm=70,
        thickness_mm=14,
        edge="square_to_face",
        bevel_mm=0.6,
        misplaced=error,
    )


@functools.cache
def readings(name, source="moving"):
    return ct.KnifeEdgeReadings.from_csv(
        READINGS / f"fenlight_{name}.csv", **(BENCH | {"source": source})
    )


@functools.cache
def edges():
    """Return the edges that the invented readings allow, at three widths."""
    return ct.fit_edges(readings("before"), widths_mm=[2, 5, 9])


def hill_profile():
    """Return heights with a zone on them and a little roughness."""
    radius_mm = [2.5 * k for k in range(63)]
    rough = [(7 * k) % 5 - 2 for k in range(63)]
    height_nm = [
        28 * math.exp(-(((r - 95) / 13) ** 2)) + 0.3 * n
        for r, n in zip(radius_mm, rough, strict=True)
    ]
    return ct.RadialProfile(radius_mm=radius_mm, height_nm=height_nm)


def sheet():
    """Return an invented sheet that flatters its mirror: the edge was not tested."""
    return ct.TestSheet(
        clear_aperture_mm=318,
        tested_diameter_mm=312,
        surface_or_wavefront="wavefront",
        wavelength_nm=632.8,
        pv_waves=0.038,
        rms_waves=0.0065,
        strehl=0.998,
    )


def report():
    return ct.ZernikeReport(
        coefficients={5: 0.008, 9: -0.021},
        indexing="fringe",
        normalisation="peak",
        unit="waves",
        wavelength_nm=632.8,
        surface_or_wavefront="surface",
        test="at_focus",
        tested_diameter_mm=310,
        clear_aperture_mm=318,
        radius_of_curvature_mm=3116,
        coefficient_sigma_nm=2.5,
    )


def turned_runs(name="both_all", **changes):
    """Return runs of outside truth, see tests/data/make_turned.py."""
    runs = rows("turned", set=name, source="moving")
    radii = (50, 90, 125, 145)
    given = {
        "clear_aperture_mm": 300,
        "radius_of_curvature_mm": 3000,
        "source": "moving",
        "readings_increase": "away_from_mirror",
        "mirror_angle_deg": [run["mirror_angle_deg"] for run in runs],
        "mask_angle_deg": [run["mask_angle_deg"] for run in runs],
        "readings_mm": [[40 + run[f"reading_at_{r}_mm"] for r in radii] for run in runs],
        "radius_mm": radii,
        "zero_kept": True,
        "reseating_sigma_mm": 0.01,
    }
    return ct.TurnedRuns(**(given | changes))


def coating_outline():
    ring = ct.OutlineRing(inner_radius_mm=112, outer_radius_mm=139, profile="smooth")
    patch = ct.OutlinePatch(x_mm=-46, y_mm=71, radius_mm=36, softness_mm=3)
    return ct.CoatingOutline(rings=[ring], patches=[patch])


def lamp_spots(**changes):
    """Return the readings of the invented old mirror."""
    given = {"clear_aperture_mm": 356, "reference_reflectance": 0.90}
    return ct.CoatingSpots.from_csv(READINGS / "old_lane_lamp.csv", **(given | changes))


def old_newtonian(**changes):
    """Return the train around that mirror, its coating not yet measured."""
    flat = ct.Diagonal(minor_axis_mm=74, reflectance=0.78, offset_mm=0)
    mirror = {"clear_aperture_mm": 356, "focal_length_mm": 1673} | changes
    plane = ct.FocalPlane(axis_to_focus_mm=255)
    return ct.Train(primary=ct.Primary(**mirror), diagonal=flat, focal_plane=plane)


def fresh_coat(**changes):
    given = {"name": "standard", "primary_reflectance": 0.91, "diagonal_reflectance": 0.91}
    return ct.FreshCoat(**(given | changes))


def recoats():
    """Return two coats compared on a mirror with one dull ring."""
    worn = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.74)
    better = fresh_coat(name="enhanced", primary_reflectance=0.95, diagonal_reflectance=0.96)
    return ct.recoat(
        old_newtonian(coating=ct.Coating(reflectance=0.85, rings=[worn])),
        fresh=[fresh_coat(), better],
        prices=[
            ct.RecoatPrices(diagonal=35, primary=240),
            ct.RecoatPrices(diagonal=60, primary=390),
        ],
        ageing=ct.Ageing(years=8, fresh_loss_per_year=0.01, old_loss_per_year=0.01),
        diagonal_sigma=0.01,
        haze=ct.HazeScatter(rms_nm=3, correlation_length_um=5, form="exponential"),
    )


def lamp_photo():
    """Return a photograph with a card on its left: brightness 40 + 1000 R."""
    row = [(240.0 if j < 10 else 940.0) + j % 2 for j in range(40)]
    return ct.ReflectancePhoto(
        values=[row] * 40,
        pixel_mm=5,
        rows_run="-y",
        columns_run="+x",
        clear_aperture_mm=190,
        dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
        bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90, sigma=0.005),
    )


def outlying_spots():
    """Return four spots, one of them with a wild reading."""
    return ct.CoatingSpots(
        x_mm=[9, 40, 60, 80],
        y_mm=[0, 0, 0, 0],
        ratios=[[0.95, 0.95, 0.96], [0.96, 0.95, 0.95], [0.95, 0.96, 0.6], [0.95, 0.94, 0.95]],
        clear_aperture_mm=356,
        reference_reflectance=0.90,
    )


def diagonals(**changes):
    """Return three sizes compared at two heights, one of them too small for the axis."""
    given = {
        "minor_axis_mm": [70, 47, 62],
        "field_radius_mm": [0, 12],
        "axis_to_focus_mm": [235, 250],
        "detail_arcsec": [1.2],
        "azimuths": 6,
        "price": [70, 40, 55],
    }
    tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
    return ct.DiagonalBatch(newtonian(drawtube=tube), **(given | changes))


def disc():
    spot = ct.DiscSpot(x_arcsec=3, y_arcsec=-2, diameter_arcsec=2, contrast=0.5)
    return ct.BandedDisc(diameter_arcsec=20, spots=[spot], tilt_deg=10, detail_contrast=0.03)


def view_difference(train):
    sensor = ct.Sensor(pixel_um=6, columns=32, rows=32)
    return train.view(disc(), sensor=sensor).difference(newtonian().view(disc(), sensor=sensor))


def ladder():
    """Return a ladder on which an eyepiece is reached and a camera is not."""
    eyepiece = ct.Eyepiece(focal_length_mm=24, field_stop_mm=27, shoulder_to_stop_mm=-2)
    camera = ct.Camera(
        shoulder_to_sensor_mm=44,
        adapters_mm=8,
        sensor=ct.Sensor(pixel_um=3.75, columns=2000, rows=1500),
    )
    return newtonian().focus_ladder(
        focuser=ct.Focuser(racked_in_mm=215, racked_out_mm=245, bore_mm=46, tube_length_mm=40),
        items=[
            ct.FocusItem(name="24 mm", eyepiece=eyepiece, eye_dioptres=-3),
            ct.FocusItem(name="camera", camera=camera, object_distance_mm=2e6),
        ],
    )


@functools.cache
def works():
    return [
        ct.Work.mask(diameter_mm=308, price=4),
        ct.Work.recoat(mirror="primary", reflectance=0.91, price=240),
    ]


def value_ladder():
    return ct.value_ladder(newtonian(), readings("before"), works(), draws=200)


def judgement():
    return ct.judgement(bare(conic=-0.8), works=works(), currency="crowns")


def cone():
    return ct.cone_on_flat(primary=primary(), axis_to_focus_mm=235, fully_lit_diameter_mm=15)


def shroud():
    """Return a short upper tube with a baffle in it."""
    sheet = ct.OppositeBaffle(
        width_mm=120, above_axis_mm=60, below_axis_mm=40, axis_to_baffle_mm=180
    )
    return ct.Enclosure(
        tube_diameter_mm=380,
        upper_edge_mm=1400,
        lower_edge_mm=1250,
        ring_outer_mm=400,
        baffle=sheet,
    )


def dull_map():
    """Return a map of a coating that is worn toward +x."""
    shares = 0.9 - 0.002 * np.mgrid[0:44, 0:44][1]
    return ct.ReflectanceMap(reflectance=shares, pixel_mm=8, rows_run="+y", columns_run="+x")


def thin_coat():
    """Return a coat of metal with a ring, a patch and a map of its thickness."""
    thickness = 90 - 0.5 * np.mgrid[0:44, 0:44][0]
    return ct.MetalCoat(
        film=ct.MetalFilm(metal="aluminium", thickness_nm=90),
        rings=[ct.ThinRing(inner_radius_mm=100, outer_radius_mm=120, thickness_nm=40)],
        patches=[ct.ThinPatch(x_mm=-40, y_mm=30, radius_mm=15, thickness_nm=20, softness_mm=2)],
        map=ct.ThicknessMap(thickness_nm=thickness, pixel_mm=8, rows_run="+y", columns_run="+x"),
    )


@functools.cache
def masks():
    """Return readings behind two masks, with all that can be computed."""
    figure = readings("before").reduce(obstruction_ratio=0.22, draws=200)
    air = ct.Seeing(fwhm_arcsec=1.5)
    return ct.mask_sweep(figure, diameters_mm=[312, 308], detail_arcsec=[1, 2], seeing=air)


@functools.cache
def parts():
    """Return one object of each class that describes something, by class name."""
    train = complete()
    found = [
        *train.primary.figure,
        ct.EdgeRollOff(reach_mm=3, drop_nm=80),
        ct.EdgeStep(width_mm=4, drop_nm=-30),
        ct.CentralHill(radius_mm=40, height_nm=25, power=3),
        ct.ZernikeTerms(coefficients_nm={5: 12.0, 11: -4.0}, indexing="noll"),
        ct.HeightMap(height_nm=RIPPLED_NM, pixel_mm=8, rows_run="-y", columns_run="+x"),
        ct.Ripple(rms_nm=6, longest_mm=100, shortest_mm=40, seed=3),
        ct.DiscSpot(x_arcsec=3, y_arcsec=-2, diameter_arcsec=2, contrast=0.5),
        disc(),
        ct.DoubleStar(separation_arcsec=1, first_magnitude=4, second_magnitude=6),
        ct.StarField(x_arcsec=[0, 4], y_arcsec=[1, -2], magnitude=[5, 8]),
        ct.Eyepiece(
            focal_length_mm=8, field_stop_mm=8, shoulder_to_stop_mm=1.5, apparent_field_deg=60
        ),
        ct.Sensor(pixel_um=3.75, columns=40, rows=30),
        ct.Overcoat(index=1.46, thickness_nm=175),
        dull_map(),
        thin_coat().map,
        thin_coat().rings[0],
        thin_coat().patches[0],
        thin_coat(),
        ct.MetalFilm(
            metal="silver", thickness_nm=60, overcoat=ct.Overcoat(index=1.46, thickness_nm=80)
        ),
        ladder().items[1].camera,
        ladder().items[0],
        ladder().focuser,
        ct.Poles(length_mm=1200, slant_deg=14),
        train.primary.coating.rings[0],
        train.primary.coating.patches[0],
        train.primary.coating,
        train.primary,
        misplaced(),
        train.focal_plane,
        train.front_opening,
        train.drawtube,
        train.spider,
        train.holder,
        train.mirror_clips,
        train.focuser_board,
        train.filter_ring,
        train.sensor_mask,
        misplaced().misplaced,
        train,
        readings("before"),
        sheet(),
        report(),
        turned_runs(),
        diagonals(),
        works()[1],
        ct.Spectrum.photopic(),
        *coating_outline().rings,
        *coating_outline().patches,
        coating_outline(),
        lamp_spots(),
        lamp_photo().dark,
        fresh_coat(),
        ct.HazeScatter(rms_nm=3, correlation_length_um=5, form="gaussian"),
        ct.RecoatPrices(diagonal=35, primary=240),
        ct.Ageing(years=8, fresh_loss_per_year=0.01, old_loss_per_year=0.01),
        ct.Seeing(fwhm_arcsec=1.5, zenith_angle_deg=30).short_exposure(diameter_mm=318),
    ]
    return {type(part).__name__: part for part in found}


@functools.cache
def star_of_a_map(**changes):
    """Return the star behind a map of an annulus with a wave of chance in it."""
    y, x = np.mgrid[-1:1:40j, -1:1:40j]
    radius = np.hypot(x, y)
    path = np.where((radius < 1) & (radius > 0.2), 60 * x * y + 80 * radius**4, np.nan)
    given = {
        "path_nm": path,
        "pixel_mm": 5,
        "focal_length_mm": 1000,
        "rows_run": "+y",
        "columns_run": "+x",
    }
    return ct.psf_of_map(**(given | {"half_width_um": 15, "pixels": 31} | changes))


@functools.cache
def results():
    """Return one object of each class that answers something, by class name."""
    train = complete()
    found = [
        train.spot(field_arcmin=(6, -3), points=300),
        train.spot_of_rings(field_arcmin=(6, -3), rings=10, rays_per_ring=20),
        train.illumination(along_mm=[-10, 0, 10], across_mm=[0, 2, 4]),
        train.illumination(radius_mm=[0, 5, 10, 15]),
        train.light(field_arcmin=(12, 5)),
        train.field_stop_light(diameter_mm=30, azimuths=12),
        train.light_map(along_mm=22, across_mm=15, points=5),
        train.light_map(along_mm=22, across_mm=15, points=3).darkest_corner,
        train.fully_lit_circle,
        train.airy(),
        newtonian(diagonal=misplaced()).image_shift(),
        diagonals().run(),
        diagonals().run().recommend(aim="sensor"),
        value_ladder(),
        value_ladder().rows[0],
        value_ladder().rows[0].gains[0],
        judgement(),
        judgement().numbers[0],
        lamp_spots().fit(coating_outline()),
        outlying_spots().fit(ct.CoatingOutline()).outliers[0],
        lamp_spots()
        .fit(coating_outline())
        .thin_metal(ct.MetalFilm(metal="aluminium", thickness_nm=100))[1],
        lamp_photo(),
        lamp_photo().check(ct.KnownPatch(x_mm=0, y_mm=60, radius_mm=12, reflectance=0.88)),
        recoats(),
        recoats().effect,
        recoats().effect.halo,
        train.artificial_star(40_000),
        readings("after").noise_study(repeats=300, obstruction_ratio=0.22),
        train.spikes(),
        bare().with_primary(coating=ct.Coating(metal=thin_coat())).coating_picture(size=41),
        ct.MetalFilm(metal="aluminium", thickness_nm=40).response(angle_deg=20),
        ct.MetalFilm(metal="silver", thickness_nm=0).thickness_from_lamp(0.01, tolerance=0.002),
        ct.smallest_diagonal(primary=train.primary, axis_to_focus_mm=235, fully_lit_diameter_mm=15),
        cone(),
        cone().rules[0],
        cone().clearance(minor_axis_mm=70, offset_mm=3),
        train.diagonal_shadow(field_arcmin=(6, -3)),
        train.misplacement_effects(nod_arcmin=4, roll_arcmin=-3, field_radius_mm=12),
        train.sight_lines(field_radius_mm=8, enclosure=shroud()),
        train.closing_baffle(field_radius_mm=8, axis_to_baffle_mm=185),
        train.closing_front(field_radius_mm=8, enclosure=shroud()),
        train.section(field_radius_mm=8, rays_each=7, enclosure=shroud()),
        train.wavefront(field_arcmin=(6, -3)),
        train.psf(half_width_um=20, pixels=41),
        train.through_focus(defocus_waves=[-1, 0, 1.5], half_width_um=25, pixels=31),
        ct.typical_faults(bare())[1],
        train.view(disc(), eyepiece=ct.Eyepiece(focal_length_mm=8, field_stop_mm=8), pixels=33),
        view_difference(train),
        train.mtf(frequency_per_mm=[0, 60, 180]),
        train.mtf(frequency_per_mm=[0, 60, 180]).in_seeing(ct.Seeing(fwhm_arcsec=1)),
        bare().mtf(frequency_per_mm=[0, 60]).at_azimuth(30),
        bare().mtf(frequency_per_mm=[0]).at_detail(1.5),
        ct.knife_edge_picture(
            primary(), source="moving", stage_mm=2, slit_width_um=20, pixels=31, **MASK
        ),
        ct.grating_picture(primary(), source="moving", stage_mm=-9, lines_per_mm=4, pixels=31),
        readings("before").conic_fit(),
        ct.bench_scatter(readings("after"), readings("after_fixed", "fixed")),
        readings("before").reduce(draws=200),
        edges(),
        edges().shapes[0],
        ct.fit_zone(hill_profile(), kind="zone", clear_aperture_mm=318),
        ct.judge_refigure(before=readings("before"), after=readings("after"), draws=200),
        masks(),
        masks().unmasked,
        masks().left_after_mask,
        ct.masking_bound(area_share=0.05, surface_step_nm=100),
        sheet().figure(),
        report().figure(draws=200),
        turned_runs().estimate(),
        turned_runs().estimate().glass,
        train.strehl(
            field_arcmin=(6, -3), spectrum=ct.Spectrum.band(from_nm=500, to_nm=600, count=3)
        ),
        train.wavefront().strehl_approximations(),
        train.wavefront().in_seeing(ct.Seeing(fwhm_arcsec=1), pixels=41),
        train.behind(
            ct.Eyepiece(focal_length_mm=24, field_stop_mm=27, apparent_field_deg=65),
            eye_pupil_mm=4,
            accommodation_dioptres=2,
        ),
        train.on_sensor(
            ct.Sensor(pixel_um=3.75, columns=2000, rows=1500), seeing=ct.Seeing(fwhm_arcsec=2)
        ),
        ladder(),
        ladder().moves(
            poles=ct.Poles(length_mm=1200, slant_deg=14),
            fully_lit_diameter_mm=10,
            primary_limit_mm=8,
            focuser_limit_mm=6,
        ),
        star_of_a_map(),
        ct.nights_that_show(before=bare(conic=-0.8), after=bare(), fwhm_arcsec=[0.5, 1.5, 3]),
    ]
    return {type(result).__name__: result for result in found}
