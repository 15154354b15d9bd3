"""Numbers needed: published worked examples, and what cannot be asked."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from analysis.sample_size import (
    Clustered,
    design_effect_of,
    events_for_continuous_hazard_ratio,
    events_for_hazard_ratio,
    n_for_continuous_odds_ratio,
    n_for_odds_ratio,
    n_for_two_risks,
    prediction_size,
    prediction_size_of_times,
    with_continuity,
)

Agrees = Callable[[float, str], bool]


def test_two_proportions_of_the_r_manual(agrees: Agrees) -> None:
    """R package stats, examples of power.prop.test, verified."""
    assert agrees(n_for_two_risks(0.5, 0.75, power=0.9), "76.70693")
    assert n_for_two_risks(0.5, 0.75, power=0.740165901331388) == pytest.approx(50, rel=1e-6)


def test_two_proportions_of_fleiss() -> None:
    """Fleiss, Levin & Paik, from memory: 344, 356 and, corrected for continuity, 376."""
    assert math.ceil(n_for_two_risks(0.25, 0.40, power=0.95, alpha=0.01)) == 344
    plain = n_for_two_risks(0.60, 0.70, power=0.80)
    assert math.ceil(plain) == 356
    assert math.ceil(with_continuity(plain, 0.60, 0.70)) == 376


def test_events_of_schoenfeld() -> None:
    """Schoenfeld 1983, from memory: 66, 191 and 88 events, arms of one size."""
    for ratio, power, events in ((0.5, 0.8, 66), (1.5, 0.8, 191), (2.0, 0.9, 88)):
        found = events_for_hazard_ratio(ratio, share_exposed=0.5, power=power)
        assert math.ceil(found) == events


def test_logistic_sizes_of_hsieh() -> None:
    """Hsieh, Bloch & Larsen 1998, Table II, verified: 317 (continuous) and 1281 (two arms)."""
    assert math.ceil(n_for_continuous_odds_ratio(0.5, math.exp(0.405), power=0.95)) == 317
    assert math.ceil(n_for_odds_ratio(0.4, 0.5, share_exposed=0.5, power=0.95)) == 1281


def test_cox_size_of_hsieh_and_lavori() -> None:
    """Hsieh & Lavori 2000, p. 557, verified: 64 deaths, 79 adjusted, 107 patients; one-sided.

    The paper rounds up at every step; unrounded it is 105.02 (computed).
    """
    deaths = events_for_continuous_hazard_ratio(math.e, deviation=0.3126, power=0.8, sides=1)
    adjusted = math.ceil(deaths) * Clustered(explained=0.1837).factor
    assert (math.ceil(deaths), math.ceil(adjusted)) == (64, 79)
    assert math.floor(math.ceil(adjusted) / 0.738) == 107
    assert deaths / (1 - 0.1837) / 0.738 == pytest.approx(105.022908060522, rel=1e-9)


def test_prediction_model_of_riley() -> None:
    """Riley et al. 2020 and 2019, verified: the three criteria of two worked examples."""
    chagas = prediction_size(24, 0.288, risk=0.174)
    assert [math.ceil(value) for value in (chagas.shrinkage, chagas.optimism)] == [623, 662]
    assert chagas.overall_risk is not None
    assert math.ceil(chagas.overall_risk) == 221
    assert math.ceil(chagas.n) == 662
    other = prediction_size(24, 0.288, risk=0.25)
    assert other.overall_risk is not None
    assert [math.ceil(other.optimism), math.ceil(other.overall_risk)] == [590, 289]
    strong = prediction_size(24, 0.55, risk=0.174)
    assert [math.ceil(strong.shrinkage), math.ceil(strong.optimism)] == [255, 532]


def test_prediction_model_of_times_of_riley() -> None:
    """Riley et al. 2020, from memory: 30 parameters need 5143 patients and 692 events."""
    size = prediction_size_of_times(30, 0.051, rate=0.065, mean_follow_up=2.07)
    assert math.ceil(size.shrinkage) == 5143
    assert math.ceil(size.shrinkage * 0.065 * 2.07) == 692


def test_design_effect_of_pairs() -> None:
    """Kish 1965: 1 + (m - 1) rho; definition."""
    assert design_effect_of(1.5, 0.4) == pytest.approx(1.2)
    assert Clustered(design_effect=1.2, explained=0.5).factor == pytest.approx(2.4)


def test_unequal_arms_need_more() -> None:
    even = events_for_hazard_ratio(0.5, share_exposed=0.5, power=0.8)
    assert events_for_hazard_ratio(0.5, share_exposed=0.2, power=0.8) == pytest.approx(
        even * 0.25 / 0.16
    )
    equal, twice = (n_for_two_risks(0.1, 0.2, power=0.8, ratio=ratio) for ratio in (1.0, 2.0))
    assert twice < equal < twice * 1.5


def test_power_of_a_simulated_study() -> None:
    """Two arms of the size found reject at about the power asked for (4,000 draws)."""
    n = math.ceil(n_for_two_risks(0.10, 0.20, power=0.8))
    rng = np.random.default_rng(5)
    one, other = rng.binomial(n, 0.10, 4000) / n, rng.binomial(n, 0.20, 4000) / n
    mean = (one + other) / 2
    z = (other - one) / np.sqrt(2 * mean * (1 - mean) / n)
    assert float((np.abs(z) > 1.959964).mean()) == pytest.approx(0.8, abs=0.025)


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda: events_for_hazard_ratio(1, share_exposed=0.5, power=0.8), "ratio must be above 0"),
        (lambda: events_for_hazard_ratio(2, share_exposed=0, power=0.8), "share_exposed must lie"),
        (lambda: n_for_two_risks(0.2, 0.2, power=0.8), "the risks must differ"),
        (lambda: n_for_odds_ratio(0.2, 0.3, share_exposed=0.5, power=1), "power must lie"),
        (lambda: prediction_size(10, 0.7, risk=0.1), "r_squared must lie between 0 and 0.478"),
        (lambda: design_effect_of(0.5, 0.1), "mean_size must be at least 1"),
        (lambda: Clustered(design_effect=0.5).factor, "design_effect must be at least 1"),
    ],
)
def test_what_cannot_be_asked_is_refused(ask: Callable[[], object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        ask()
