"""What the sweeps of the tests and benchmarks do; workers import it by name."""

from __future__ import annotations

import os
import time

from flutelab import calibrate


def square(x):
    return x * x


def slow_square(x):
    time.sleep(0.03)
    return x * x


def fails_at_seven(x):
    if x == 7:
        msg = "seven"
        raise ValueError(msg)
    return x


def threads(_):
    return os.environ.get("OPENBLAS_NUM_THREADS")


def values_of(measured):
    return calibrate(measured).value.tobytes()
