"""Long work gives way to Ctrl-C."""

import os
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import catoptric as ct
import numpy as np
import pytest
from samples import newtonian, readings


@pytest.fixture(scope="module")
def tenth():
    """Return the seconds that a tenth of the work takes, as a measure of this machine."""
    start = time.monotonic()
    readings("before").reduce(draws=20_000)
    return time.monotonic() - start


@pytest.fixture(autouse=True)
def ctrl_c_is_heard():
    """A test run in the background of a shell inherits that interrupts are ignored; not here."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def interrupted(work, after):
    """Interrupt work some seconds after its start; return the seconds it took to give way."""
    asked = []

    def ask():
        asked.append(time.monotonic())
        os.kill(os.getpid(), signal.SIGINT)

    timer = threading.Timer(after, ask)
    timer.start()
    with pytest.raises(KeyboardInterrupt):
        work()
    waited = time.monotonic() - asked[0]
    timer.join()
    return waited


def test_long_work_ends_soon_after_ctrl_c(tenth):
    assert interrupted(lambda: readings("before").reduce(draws=200_000), tenth / 2) < tenth


def test_ten_million_noisy_repeats_end_soon_after_ctrl_c():
    # Noise of waves: many pieces to each repeat, many seconds in all.
    def work():
        readings("before").noise_study(repeats=10_000_000, reading_sigma_mm=3.0)

    assert interrupted(work, 0.3) < 1.0


def test_nothing_keeps_computing_after_ctrl_c():
    def processor_seconds(work):
        start = time.process_time()
        work()
        return time.process_time() - start

    whole = processor_seconds(lambda: readings("before").reduce(draws=20_000))
    # Ten times that work, broken off near its beginning: an abandoned thread would have most left.
    interrupted(lambda: readings("before").reduce(draws=200_000), 0.1)
    # Long enough for an abandoned thread to show itself, even where others share the processor.
    used = processor_seconds(lambda: time.sleep(2.0 * whole + 0.5))
    assert used < 0.2 * whole


def test_a_large_map_in_many_colours_ends_soon_after_ctrl_c():
    # Some ten seconds' work on an array that is read in place, and kept until the work ends.
    path_nm, nm = np.zeros((2000, 2000)), np.linspace(400, 700, 500)
    spectrum = ct.Spectrum(wavelength_nm=nm, weight=np.ones(500))

    def work():
        scale = {"pixel_mm": 0.1, "focal_length_mm": 1500, "rows_run": "+y", "columns_run": "+x"}
        ct.psf_of_map(path_nm=path_nm, **scale, pixels=1000, spectrum=spectrum)

    assert interrupted(work, 0.3) < 1.0


def batch(rows):
    return ct.DiagonalBatch(
        newtonian(),
        minor_axis_mm=np.linspace(55, 95, 100),
        field_radius_mm=[0, 12],
        axis_to_focus_mm=np.linspace(225, 260, rows // 100),
    )


def test_a_batch_of_diagonals_ends_soon_after_ctrl_c():
    start = time.monotonic()
    batch(20_000).run()
    tenth = time.monotonic() - start
    assert interrupted(lambda: batch(200_000).run(), tenth / 2) < tenth


@pytest.mark.skipif(not os.path.isdir("/proc/self/task"), reason="counts the threads of a process")
def test_calls_one_after_another_wait_on_one_thread():
    train = newtonian()

    def threads_after(calls):
        for k in range(calls):
            train.psf(field_arcmin=(0.1 * k, 0), pixels=9)
        return len(os.listdir("/proc/self/task"))

    before = threads_after(3)
    assert threads_after(30) == before
    # Calls at once get a thread each, of which few are kept.
    with ThreadPoolExecutor(16) as callers:
        assert len(set(callers.map(lambda _: train.psf(pixels=9).fwhm_um, range(64)))) == 1
    time.sleep(0.2)
    assert threads_after(1) <= before + 4
    # Work that was broken off gives its thread back.
    interrupted(lambda: readings("before").reduce(draws=200_000), 0.1)
    time.sleep(0.5)
    assert threads_after(3) <= before + 4
