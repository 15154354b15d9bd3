"""How long a piece of work takes."""

import time
from collections.abc import Callable

import numpy as np


def seconds(work: Callable[[], object], times: int) -> float:
    """Median of some runs."""
    taken: list[float] = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return float(np.median(taken))
