"""The time of the fastest of several calls: other work on the machine only ever slows one."""

import time
from collections.abc import Callable


def best(function: Callable[[], object], tries: int) -> float:
    """Return the seconds of the fastest of several calls, after one that is not counted."""
    function()
    times = []
    for _ in range(tries):
        begin = time.perf_counter()
        function()
        times.append(time.perf_counter() - begin)
    return min(times)
