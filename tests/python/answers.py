"""A program for test_determinism.py: a hash of the answer of each kind of analysis, as JSON.

With the argument `forks` three more of them: from a process that `os.fork` made after the library's
threads were used, from one of multiprocessing's, and once more from this one.
"""

import hashlib
import json
import multiprocessing
import os
import sys

import catoptric as ct
import numpy as np
from samples import WIDE_EDGE, complete, newtonian, primary, readings


def kinds():
    """Return what makes an answer of each kind."""
    train = complete()
    k = np.arange(100_000) + 0.5
    r, turn = 150 * np.sqrt(k / k.size), 2.399963 * k
    origins = np.array([r * np.cos(turn), r * np.sin(turn), np.full(k.size, 2000.0)])
    rays = {"origins_mm": origins, "directions": (0, 0, -1)}
    star, colours = {"field_arcmin": (3.0, -2.0)}, ct.Spectrum.photopic()
    wave = train.wavefront(**star, focus="least_rms")
    round_wave = newtonian(primary=primary(figure=[WIDE_EDGE])).wavefront(focus="peak")
    batch = ct.DiagonalBatch(
        newtonian(),
        minor_axis_mm=[58, 70, 84],
        field_radius_mm=[0, 9],
        axis_to_focus_mm=[228, 235],
    )
    y, x = np.mgrid[-1:1:150j, -1:1:150j]
    path_nm = np.where(np.hypot(x, y) < 1, 90 * (x**3 - x * y), np.nan)
    scale = {"pixel_mm": 2, "focal_length_mm": 1500, "rows_run": "-y", "columns_run": "+x"}
    figure = readings("before").reduce(draws=300)
    eyepiece = ct.Eyepiece(focal_length_mm=8, field_stop_mm=10)
    disc = ct.BandedDisc(diameter_arcsec=20)
    film = ct.MetalFilm(metal="aluminium", thickness_nm=90)
    ring = ct.ThinRing(inner_radius_mm=60, outer_radius_mm=80, thickness_nm=40, softness_mm=2)
    worn = ct.Coating(metal=ct.MetalCoat(film=film, rings=[ring]))
    coated = newtonian(primary=primary(coating=worn))
    mask = ct.Work.mask(diameter_mm=308, price=4)
    fresh = ct.FreshCoat(name="new", primary_reflectance=0.91, diagonal_reflectance=0.91)
    return {
        "spot": lambda: train.spot(**star, focus="least_spot"),
        "rays given": lambda: train.spot_of_rays(**rays),
        "rays out": lambda: train.trace_rays(**rays)["along_um"],
        "rings": lambda: train.spot_of_rings(**star, rings=300, rays_per_ring=200),
        "wavefront": lambda: [wave.strehl, wave.rms_nm, wave.pv_nm, wave.map_nm],
        "star image": lambda: wave.psf(pixels=96).image,
        "nine colours": lambda: wave.psf(pixels=64, spectrum=colours).image,
        "own map": lambda: ct.psf_of_map(path_nm=path_nm, **scale, spectrum=colours).image,
        "contrast": lambda: round_wave.mtf(frequency_per_mm=[20.0, 90.0]).contrast_mean,
        "through focus": lambda: wave.through_focus(pixels=48, defocus_waves=[-2, 0, 2]).images,
        "light": lambda: train.light(**star),
        "illumination": lambda: train.illumination(along_mm=[-9, 0, 9], across_mm=[1, 2, 3]),
        "illumination at radii": lambda: train.illumination(radius_mm=[0, 5, 9]),
        "light map": lambda: train.light_map(along_mm=24, across_mm=16, points=9),
        "diagonals": batch.run,
        "reduction": lambda: [figure.strehl_interval, figure.strehl_total_interval],
        "masks": lambda: ct.mask_sweep(figure, diameters_mm=[300, 310]),
        "coating": lambda: ct.coating_effect(coated, fresh=fresh),
        "ladder": lambda: ct.value_ladder(newtonian(), works=[mask]),
        "view": lambda: newtonian().view(disc, eyepiece=eyepiece, pixels=65).image,
    }


def bits(answer):
    """Return an answer's bits: arrays as they are, results as their pickles have them."""
    if isinstance(answer, np.ndarray):
        return answer.tobytes()
    if isinstance(answer, list):
        return b"".join(map(bits, answer))
    return repr(answer.__reduce__()[1] if hasattr(answer, "_from_json") else answer).encode()


def hashes():
    """Return the hash of each answer."""
    return {name: hashlib.sha256(bits(work())).hexdigest() for name, work in kinds().items()}


def forked():
    """Return the same from a process that is nothing but a copy of this one."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        with os.fdopen(writing, "w") as pipe:
            json.dump(hashes(), pipe)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        found = json.load(pipe)
    os.waitpid(child, 0)
    return found


def put(queue):
    """Hand the hashes to another process."""
    queue.put(hashes())


def by_multiprocessing():
    """Return the same from a process that multiprocessing forks."""
    context = multiprocessing.get_context("fork")
    queue = context.Queue()
    process = context.Process(target=put, args=(queue,))
    process.start()
    found = queue.get(timeout=100)
    process.join()
    return found


if __name__ == "__main__":
    answers = [hashes()]
    if sys.argv[1:] == ["forks"]:
        answers += [forked(), by_multiprocessing(), hashes()]
    print(json.dumps(answers))
