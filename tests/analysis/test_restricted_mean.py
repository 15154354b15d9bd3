"""Restricted mean survival: the published vignette, and the spread of simulated samples."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.restricted_mean import difference_of_means, ratio_of_means, restricted_mean

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"


def test_restricted_means_of_biliary_cirrhosis(agrees: Agrees) -> None:
    """Vignette of the R package survRM2, 10 years, verified."""
    pbc = (
        pl.read_csv(PUBLISHED / "survival_pbc.csv", null_values="NA")
        .head(312)
        .with_columns(years=pl.col("time") / 365.25)
    )
    arms: list[pl.DataFrame] = [pbc.filter(pl.col("trt") == arm) for arm in (1, 2)]
    first, second = (restricted_mean(arm["years"], arm["status"] == 2, horizon=10) for arm in arms)
    assert agrees(first.estimate, "7.146")
    assert agrees(first.std_error, "0.283")
    assert agrees(second.estimate, "7.283")
    assert agrees(second.std_error, "0.295")
    assert agrees(first.limits()[0], "6.592")
    assert agrees(first.limits()[1], "7.701")
    difference = difference_of_means(first, second)
    for value, printed in ((difference.estimate, "-0.137"), (difference.low, "-0.939"),
                           (difference.high, "0.665"), (difference.p_value, "0.738")):  # fmt: skip
        assert agrees(value, printed)
    ratio = ratio_of_means(first, second)
    for value, printed in ((ratio.estimate, "0.981"), (ratio.low, "0.878"), (ratio.high, "1.096")):
        assert agrees(value, printed)


def test_restricted_mean_beyond_follow_up_is_refused() -> None:
    six_mp = pl.read_csv(PUBLISHED / "gehan.csv").filter(pl.col("treat") == "6-MP")
    with pytest.raises(ValueError, match="horizon must be within follow-up, got 40 > 35"):
        restricted_mean(six_mp["time"], six_mp["cens"], horizon=40)


def test_error_of_the_restricted_mean_is_that_of_simulated_samples() -> None:
    """The spread of estimates over 400 samples; one library returns the variance of min(T, t)."""
    rng = np.random.default_rng(1)
    found: list[tuple[float, float]] = []
    for _ in range(400):
        time = np.ceil(rng.exponential(300, 120))
        lost = rng.uniform(100, 700, 120)
        mean = restricted_mean(np.minimum(time, np.ceil(lost)), time <= lost, horizon=100)
        found.append((mean.estimate, mean.std_error))
    spread = np.std([estimate for estimate, _ in found])
    assert np.mean([error for _, error in found]) == pytest.approx(spread, rel=0.08)
