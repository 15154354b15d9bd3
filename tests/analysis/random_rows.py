"""Random rows with everything that a Cox model has to heed."""

import numpy as np

from analysis.arrays import FloatArray


class Rows:
    """Rows with many ties, late entry, strata and weights, some of them zero."""

    def __init__(self, seed: int, n: int = 60) -> None:
        rng = np.random.default_rng(seed)
        columns = (rng.normal(size=n), rng.integers(0, 2, n).astype(float), rng.normal(size=n))
        self.x: FloatArray = np.column_stack(columns)
        self.entry: FloatArray = rng.integers(0, 4, n).astype(float)
        self.time: FloatArray = self.entry + rng.integers(1, 8, n).astype(float)
        self.event: FloatArray = (rng.random(n) < 0.6).astype(float)
        self.strata = rng.integers(0, 3, n)
        self.weights: FloatArray = rng.integers(0, 3, n).astype(float)
        self.cluster = rng.integers(0, n // 2, n)
