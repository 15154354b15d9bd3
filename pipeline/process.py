"""What the process needs to be told before the libraries are loaded; imports none of them."""

import os

# One thread of linear algebra: products of many columns would differ in their last digit with the
# number of threads, and at our sizes threads only cost time.
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
# A stage asks for memory and gives it back a thousand times. Kept for three seconds, it need not be
# asked of the system again: a tenth of the time of a large intake. Kept longer, it is only more. Of
# one place for all threads, what one gives back serves the next: an eighth of the time of a large
# cohort, whose steps go to threads in turn.
MEMORY_KEPT = "dirty_decay_ms:3000,muzzy_decay_ms:3000,narenas:1"


def settle_process() -> None:
    """Set what must stand before numpy and polars are loaded; a user's own word on memory holds."""
    os.environ.update(ONE_THREAD)
    os.environ.setdefault("_RJEM_MALLOC_CONF", MEMORY_KEPT)
