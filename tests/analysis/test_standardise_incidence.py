"""Standardised incidence: by its definition, its two intervals against each other, its refusals."""

import numpy as np
import pytest

from analysis.arrays import FloatArray
from analysis.cox import fit_cox
from analysis.incidence import aalen_johansen, incidence_at
from analysis.standardise_incidence import (
    CauseModel,
    StandardisedIncidence,
    standardised_incidence,
)

DAYS = (91, 183, 365)


class Rows:
    """Stifles of animals: an exposure, a confounder, two causes, weekly days."""

    def __init__(self, seed: int, n: int = 500, effect: float = 0.7) -> None:
        rng = np.random.default_rng(seed)
        self.animal = np.sort(rng.integers(0, int(0.75 * n), n))
        shared = 0.5 * rng.normal(size=n)[self.animal]
        severity = rng.normal(size=n)
        exposed = (rng.random(n) < 1 / (1 + np.exp(-severity))).astype(float)
        self.x: FloatArray = np.column_stack((exposed, severity))
        event = np.exp(-7.0 + effect * exposed + 0.5 * severity + shared)
        other = np.exp(-8.2 + 0.3 * severity)
        time = rng.exponential(1 / (event + other))
        cause = np.where(rng.random(n) < event / (event + other), 1, 2)
        lost = rng.uniform(30, 900, n)
        self.state = np.where(time > lost, 0, cause)
        self.time: FloatArray = np.ceil(np.minimum(time, lost) / 7) * 7
        self.stratum = rng.integers(0, 2, n)

    def arms(self) -> dict[str, FloatArray]:
        out: dict[str, FloatArray] = {}
        for level in (0, 1):
            out[str(level)] = self.x.copy()
            out[str(level)][:, 0] = level
        return out

    def model(
        self, cause: int, *, weights: FloatArray | None = None, strata: bool = False
    ) -> CauseModel:
        fit = fit_cox(self.x, self.time, self.state == cause, cluster=self.animal,
                      weights=weights, strata=self.stratum if strata else None)  # fmt: skip
        return CauseModel(fit=fit, arms=self.arms())


def numbers(found: StandardisedIncidence) -> FloatArray:
    rows = (*found.risks, *found.differences, *found.ratios)
    return np.array([[row.estimate, row.std_error, row.low, row.high] for row in rows])


def test_without_terms_it_is_the_aalen_johansen_estimate_in_small_steps() -> None:
    """Hazards constant in steps against the product limit: they meet as steps get small."""
    rows = Rows(1, n=1200)
    rows.time = rows.time + np.random.default_rng(0).random(1200)  # no ties
    nothing = np.empty((1200, 0))
    event, other = (
        CauseModel(fit=fit_cox(nothing, rows.time, rows.state == cause), arms={"all": nothing})
        for cause in (1, 2)
    )
    found = standardised_incidence(event, other, days=DAYS, reference="all", interval="jackknife")
    curve = incidence_at(aalen_johansen(rows.time, rows.state, cause=1), DAYS)
    for risk, at in zip(found.risks, curve, strict=True):
        assert risk.estimate == pytest.approx(at.estimate, rel=3e-3)
        assert risk.std_error == pytest.approx(at.std_error, rel=1e-2)


@pytest.mark.parametrize("strata", [False, True])
def test_influences_are_derivatives_in_the_weight(strata: bool) -> None:
    """Move each animal's weight a little, refit both models: the squares sum to the variance."""
    rows = Rows(2, n=60, effect=1.0)
    found = standardised_incidence(
        rows.model(1, strata=strata), rows.model(2, strata=strata),
        days=DAYS, reference="0", interval="jackknife",
    )  # fmt: skip
    moved: list[FloatArray] = []
    for animal in np.unique(rows.animal):
        ends: list[FloatArray] = []
        for sign in (1, -1):
            weights = 1.0 + sign * 1e-4 * (rows.animal == animal)
            shifted = standardised_incidence(
                rows.model(1, weights=weights, strata=strata),
                rows.model(2, weights=weights, strata=strata),
                days=DAYS, reference="0", interval="jackknife",
            )  # fmt: skip
            ends.append(numbers(shifted)[:9, 0])
        moved.append((ends[0] - ends[1]) / 2e-4)
    errors = np.sqrt((np.array(moved) ** 2).sum(axis=0))
    assert numbers(found)[:9, 1] == pytest.approx(errors, rel=1e-5)


def test_bootstrap_and_jackknife_agree() -> None:
    """Errors within a tenth of each other; both by animal."""
    rows = Rows(3, n=900)
    event, other = rows.model(1), rows.model(2)
    closed = standardised_incidence(event, other, days=DAYS, reference="0", interval="jackknife")
    drawn = standardised_incidence(event, other, days=DAYS, reference="0", refits=600, seed=7)
    assert numbers(drawn)[:, 0] == pytest.approx(numbers(closed)[:, 0], rel=1e-12)
    assert numbers(drawn)[:, 1] == pytest.approx(numbers(closed)[:, 1], rel=0.12)
    assert drawn.clusters == len(np.unique(rows.animal))
    assert drawn.failed_refits == 0


def test_bootstrap_is_that_of_single_refits() -> None:
    """The batch's first sample, refitted alone with its weights, gives the same risks."""
    from analysis.incidence_resampling import resample_incidence

    rows = Rows(4)
    event, other = rows.model(1), rows.model(2)
    drawn = resample_incidence(event, other, days=np.array(DAYS, float), refits=3, seed=5)
    child = np.random.SeedSequence(5).spawn(1)[0]
    present, code = np.unique(rows.animal, return_inverse=True)
    share = np.full(len(present), 1 / len(present))
    times = np.random.default_rng(child).multinomial(len(present), share, size=3)
    weights = times[0][code].astype(float)
    kept = weights > 0
    rows.x, rows.time, rows.state, rows.animal = (
        rows.x[kept], rows.time[kept], rows.state[kept], rows.animal[kept]
    )  # fmt: skip
    alone = standardised_incidence(
        rows.model(1, weights=weights[kept]), rows.model(2, weights=weights[kept]),
        days=DAYS, reference="0", interval="jackknife",
    )  # fmt: skip
    single = np.array([row.estimate for row in alone.risks]).reshape(2, 3)
    assert drawn.values[0] == pytest.approx(single, rel=1e-7)


def test_same_seed_same_bytes_and_more_samples_keep_the_first() -> None:
    rows = Rows(5)
    event, other = rows.model(1), rows.model(2)
    first, again = (
        standardised_incidence(event, other, days=DAYS, reference="0", refits=60, seed=3)
        for _ in range(2)
    )
    assert numbers(first).tobytes() == numbers(again).tobytes()
    differs = standardised_incidence(event, other, days=DAYS, reference="0", refits=60, seed=4)
    assert numbers(first)[0, 1] != numbers(differs)[0, 1]


def test_confounding_is_taken_out() -> None:
    """The exposure does nothing, the confounder does: crude curves differ, standardised do not."""
    rows = Rows(6, n=6000, effect=0.0)
    crude = [
        incidence_at(
            aalen_johansen(rows.time[arm], rows.state[arm], cause=1), [365]
        )[0].estimate
        for arm in (rows.x[:, 0] == 0, rows.x[:, 0] == 1)
    ]  # fmt: skip
    found = standardised_incidence(
        rows.model(1), rows.model(2), days=[365], reference="0", interval="jackknife"
    )
    assert crude[1] - crude[0] > 0.05
    assert abs(found.differences[0].estimate) < 0.03
    assert found.differences[0].low < 0 < found.differences[0].high


def test_an_arm_without_events_in_some_samples_counts_with_its_limit() -> None:
    """Two events in the exposed arm: samples without them separate, and their risk there is nil."""
    rows = Rows(7, n=200)
    exposed = rows.x[:, 0] == 1
    events = np.flatnonzero(exposed & (rows.state == 1))
    rows.state[events[2:]] = 0
    found = standardised_incidence(
        rows.model(1), rows.model(2), days=[365], reference="0", refits=100, seed=1
    )
    assert found.separated_refits > 3
    assert found.failed_refits == 0
    assert found.risks[1].low == pytest.approx(0.0, abs=1e-6)
    assert np.isfinite(found.differences[0].low)


def test_nothing_competes_where_no_second_model_is_given() -> None:
    """Then the risk is one minus the mean of exp(-cumulative hazard)."""
    rows = Rows(8)
    alone = standardised_incidence(
        rows.model(1), None, days=DAYS, reference="0", interval="jackknife"
    )
    both = standardised_incidence(
        rows.model(1), rows.model(2), days=DAYS, reference="0", interval="jackknife"
    )
    assert all(a.estimate > b.estimate for a, b in zip(alone.risks, both.risks, strict=True))


def test_a_day_before_the_first_event_has_no_risk_and_no_ratio() -> None:
    rows = Rows(9)
    found = standardised_incidence(
        rows.model(1), rows.model(2), days=[1], reference="0", refits=20, seed=1
    )
    assert found.risks[0].estimate == 0.0
    assert np.isnan(found.ratios[0].estimate)


def test_bad_models_are_refused() -> None:
    rows = Rows(10)
    event, other = rows.model(1), rows.model(2)
    with pytest.raises(ValueError, match="reference must be one of 0, 1, got 2"):
        standardised_incidence(event, other, days=DAYS, reference="2")
    separated = fit_cox(rows.x, rows.time, (rows.state == 1) & (rows.x[:, 0] == 0))
    with pytest.raises(ValueError, match="event must be a fit with a number for every term"):
        standardised_incidence(
            CauseModel(fit=separated, arms=rows.arms()), other, days=DAYS, reference="0"
        )
    short = CauseModel(fit=other.fit, arms={"0": rows.x[:9], "1": rows.x[:9]})
    with pytest.raises(ValueError, match="competing must have shape"):
        standardised_incidence(event, short, days=DAYS, reference="0")
