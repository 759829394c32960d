"""Long work gives way to Ctrl-C."""

import os
import signal
import threading
import time

import pytest
from samples import readings


def test_long_work_ends_soon_after_ctrl_c():
    def seconds(work):
        start = time.monotonic()
        work()
        return time.monotonic() - start

    # A tenth of the work as a measure of this machine: the answer to Ctrl-C must come sooner.
    tenth = seconds(lambda: readings("before").reduce(draws=20_000))
    asked = []

    def ask():
        asked.append(time.monotonic())
        os.kill(os.getpid(), signal.SIGINT)

    timer = threading.Timer(tenth / 2, ask)
    timer.start()
    with pytest.raises(KeyboardInterrupt):
        readings("before").reduce(draws=200_000)
    waited = time.monotonic() - asked[0]
    timer.join()
    assert waited < tenth
