"""How long a piece of work takes."""

import time
from collections.abc import Callable

import numpy as np


def seconds(work: Callable[[], object], times: int) -> float:
    """Median of some runs, in seconds of processor time: other work on the machine counts less.

    ``make bench`` allows linear algebra one thread, as the command does.
    """
    taken: list[float] = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return float(np.median(taken))
