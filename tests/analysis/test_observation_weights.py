from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.arrays import FloatArray, inverse
from analysis.firth import FirthFit
from analysis.logistic import fit_logistic
from analysis.observation_weights import follow_up_weights, known_weights
from analysis.sandwich import cluster_sandwich
from tests.analysis.r_values import r_values

Agrees = Callable[[float, str], bool]


@pytest.fixture(scope="module")
def nhefs(oracles: Path) -> pl.DataFrame:
    """1566 smokers of the NHEFS follow-up study (R causaldata nhefs_complete)."""
    return pl.read_csv(oracles / "binary_nhefs.csv")


def terms(nhefs: pl.DataFrame) -> FloatArray:
    squares = [pl.col(name) ** 2 for name in ("age", "smokeintensity", "smokeyrs", "wt71")]
    return nhefs.select(
        "sex", "race", "age", "smokeintensity", "smokeyrs", "wt71",
        *(part.alias(f"square {place}") for place, part in enumerate(squares)),
        *((pl.col("education") == k).alias(f"education {k}") for k in (2, 3, 4, 5)),
        *((pl.col("exercise") == k).alias(f"exercise {k}") for k in (1, 2)),
        *((pl.col("active") == k).alias(f"active {k}") for k in (1, 2)),
    ).cast(pl.Float64).to_numpy()  # fmt: skip


def both_arms(nhefs: pl.DataFrame, *, stabilised: bool) -> FloatArray:
    """Weights of the quitters from "quit is known", of the others from "did not quit"."""
    quit_ = nhefs["qsmk"].to_numpy()
    x = terms(nhefs)
    return (
        known_weights(quit_, x, stabilised=stabilised).weights
        + known_weights(1 - quit_, x, stabilised=stabilised).weights
    )


def test_weights_agree_with_hernan_and_robins(nhefs: pl.DataFrame, agrees: Agrees) -> None:
    """Causal Inference: What If, program 12.2 and 12.3, Stata output, verified."""
    plain = both_arms(nhefs, stabilised=False)
    assert agrees(plain.mean(), "1.996284")
    assert agrees(plain.min(), "1.053742")
    assert agrees(plain.max(), "16.70009")
    stabilised = both_arms(nhefs, stabilised=True)
    # printed 0.9988444, which misses half a unit by 1e-10; compared with R
    mean = r_values("published_models")["nhefs", "mean weight"]
    assert stabilised.mean() == pytest.approx(mean, abs=1e-10)
    assert agrees(stabilised.min(), "0.3312489")
    assert agrees(stabilised.max(), "4.297662")
    largest = r_values("published_models")["nhefs", "largest weight"]
    assert stabilised.max() == pytest.approx(largest, rel=1e-9)


def test_weighted_weight_gain_agrees_with_hernan_and_robins(
    nhefs: pl.DataFrame, agrees: Agrees
) -> None:
    """Program 12.2, verified: difference 3.440535 kg, mean among the untreated 1.779978, robust
    error 0.5255 (R geeglm, no small-sample factor), limits 2.411 and 4.47; crude 2.541."""
    gain, quit_ = nhefs["wt82_71"].to_numpy(), nhefs["qsmk"].to_numpy() == 1
    w = both_arms(nhefs, stabilised=False)
    means = [float(np.average(gain[arm], weights=w[arm])) for arm in (~quit_, quit_)]
    assert agrees(means[0], "1.779978")
    assert agrees(means[1] - means[0], "3.440535")
    assert agrees(gain[quit_].mean() - gain[~quit_].mean(), "2.541")
    x = np.column_stack([np.ones(len(gain)), quit_])
    residual = w * (gain - np.where(quit_, means[1], means[0]))
    bread = inverse(x.T @ (x * w[:, None]))
    covariance, _ = cluster_sandwich(
        x, residual, bread, codes=np.arange(len(gain)), correction="CR0"
    )
    error = float(np.sqrt(covariance[1, 1]))
    assert agrees(error, "0.5255")
    assert agrees(means[1] - means[0] - 1.96 * error, "2.411")
    assert agrees(means[1] - means[0] + 1.96 * error, "4.47")


def test_weighted_logistic_model_agrees_with_hernan_and_robins(
    nhefs: pl.DataFrame, agrees: Agrees
) -> None:
    """Program 12.4 on death, verified: log odds ratio 0.0301. The odds ratio's limits 0.76 and
    1.40 are from memory: compared with R (tests/oracles/published_models.R)."""
    fit = fit_logistic(
        nhefs.select("qsmk").to_numpy(),
        nhefs["death"].to_numpy(),
        weights=both_arms(nhefs, stabilised=True),
        cluster=np.arange(len(nhefs)),
        correction="CR0",
    )
    assert agrees(fit.coefficients[1], "0.0301")
    low, high = fit.limits()
    right = r_values("published_models")
    assert np.exp(low[1]) == pytest.approx(right["nhefs", "odds ratio low"], rel=1e-7)
    assert np.exp(high[1]) == pytest.approx(right["nhefs", "odds ratio high"], rel=1e-7)


def lost_to_follow_up(n: int, seed: int) -> dict[str, FloatArray]:
    """Events end follow-up; loss depends on the term that also raises the hazard."""
    rng = np.random.default_rng(seed)
    frail = rng.normal(size=n)
    event = np.ceil(rng.exponential(365 / (0.25 * np.exp(0.5 * frail))))
    loss = np.ceil(rng.exponential(300 * np.exp(-0.5 * frail)))
    settled = np.minimum(event, 365)
    known = loss >= settled
    return {
        "x": frail[:, None],
        "y": (event <= 365).astype(float),
        "known": known.astype(float),
        "day": np.minimum(settled, loss),
    }


def test_follow_up_weights_recover_the_risk_and_known_weights_do_not() -> None:
    """Defining property, 60,000 invented rows: an event is known early, its absence only late.
    The error of 0.008 is about three Monte Carlo standard errors of the weighted risk."""
    made = lost_to_follow_up(60_000, seed=2)
    truth = made["y"].mean()
    by_time = follow_up_weights(made["day"], made["known"], made["x"])
    by_terms = known_weights(made["known"], made["x"])
    assert np.average(made["y"], weights=by_time.weights) == pytest.approx(truth, abs=0.008)
    assert np.average(made["y"], weights=by_terms.weights) > truth + 0.1


def test_follow_up_weights_without_terms_are_kaplan_meiers_of_loss() -> None:
    """Second route: inverse of the probability of not being lost, within 1/n of its exponential
    form, read just before the day."""
    made = lost_to_follow_up(400, seed=1)
    found = follow_up_weights(made["day"], made["known"], np.empty((400, 0)), stabilised=False)
    days, lost = made["day"], made["known"] == 0
    for row in np.flatnonzero(~lost)[:60]:
        hazard = 1.0
        for day in np.unique(days[lost]):
            if day < days[row]:
                at_risk = ((days > day) | ((days == day) & lost)).sum()
                hazard *= 1 - ((days == day) & lost).sum() / at_risk
        assert found.probability[row] == pytest.approx(hazard, rel=0.01)


def test_all_known_need_no_model() -> None:
    found = known_weights([1, 1, 1], [[0.0], [1], [2]])
    assert found.weights.tolist() == [1, 1, 1]
    assert found.model is None
    assert follow_up_weights([1, 2, 3], [1, 1, 1], [[0.0], [1], [2]]).effective_n == 3


def test_summary_says_how_uneven_the_weights_are() -> None:
    """Group with probability 1/30 beside one that is always known."""
    x = np.r_[np.ones(30), np.zeros(30)][:, None]
    known = np.r_[1, np.zeros(29), np.ones(28), 0, 0]
    found = known_weights(known, x, stabilised=False)
    assert found.n_known == 29
    assert found.largest_weight == pytest.approx(30)
    assert found.share_rarely_known == pytest.approx(1 / 29)
    weights = found.weights[known == 1]
    assert found.effective_n == pytest.approx(weights.sum() ** 2 / (weights**2).sum())
    assert found.concerns == ("extreme_weights",)
    assert (found.weights[known == 0] == 0).all()


def test_clinic_that_knows_all_is_modelled_by_penalised_likelihood() -> None:
    rng = np.random.default_rng(1)
    clinic = np.repeat([0.0, 1.0], 40)
    known = np.where(clinic == 1, 1, rng.random(80) < 0.6)
    found = known_weights(known, np.column_stack([clinic, clinic]), names=("lake", "again"))
    assert isinstance(found.model, FirthFit)
    assert "penalised" in found.concerns
    assert found.left_out == ("again",)
    assert np.isfinite(found.weights).all()


def test_clinic_that_loses_nobody_is_left_out_of_the_hazard_of_loss_and_named() -> None:
    made = lost_to_follow_up(200, seed=4)
    keeps = np.zeros(200)
    keeps[np.flatnonzero(made["known"] == 1)[:40]] = 1
    found = follow_up_weights(
        made["day"], made["known"], np.column_stack([made["x"], keeps]), names=("frail", "keeps")
    )
    assert found.left_out == ("keeps",)
    assert np.isfinite(found.weights).all()


def test_nobody_known_is_refused() -> None:
    with pytest.raises(ValueError, match="known must be 1 in at least one row"):
        known_weights([0, 0], [[1.0], [2]])
    with pytest.raises(ValueError, match="day must not be negative"):
        follow_up_weights([-1, 2], [1, 0], [[1.0], [2]])
