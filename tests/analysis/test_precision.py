from collections.abc import Callable

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from analysis.logistic import fit_logistic
from analysis.precision import (
    events_per_parameter,
    expected_log_hazard_ratio,
    expected_log_odds_ratio,
    expected_risk_difference,
)


@pytest.mark.parametrize(
    ("ratio", "power", "events", "printed"),
    [
        (0.5, 0.8, 65.3456592588709, 66),
        (1.5, 0.8, 190.968040183989, 191),
        (2.0, 0.9, 87.4792977215419, 88),
    ],
)
def test_hazard_ratio_error_gives_schoenfelds_number_of_events(
    ratio: float, power: float, events: float, printed: int
) -> None:
    """Schoenfeld 1983, 1:1, from memory: with that many events the log ratio is as many standard
    errors from nil as the power asks for. Compared with R's unrounded number."""
    assert np.ceil(events) == printed
    error = expected_log_hazard_ratio(1, 0.5).std_error / np.sqrt(events)
    assert abs(np.log(ratio)) / error == pytest.approx(ndtri(0.975) + ndtri(power), rel=1e-9)


def test_risk_difference_error_gives_hsiehs_sample_size() -> None:
    """Hsieh, Bloch & Larsen 1998, Table II, verified: 1281 for risks 0.4 and 0.5, half exposed,
    power 0.95. Rounded up, so compared with R's unrounded number too."""
    null = expected_risk_difference(1_000_000, 450_000, 0.5).std_error * 1000
    unpooled = np.sqrt(2 * (0.4 * 0.6 + 0.5 * 0.5))
    needed = ((ndtri(0.975) * null + ndtri(0.95) * unpooled) / 0.1) ** 2
    assert np.ceil(needed) == 1281
    assert needed == pytest.approx(1280.53871145413, rel=1e-10)


def test_odds_ratio_error_is_that_of_a_fit_with_equal_risks() -> None:
    """Second route: 300 and 100 stifles, a fifth of each with the event."""
    x = np.repeat([0.0, 1.0], [300, 100])
    y = np.r_[np.arange(300) % 5 == 0, np.arange(100) % 5 == 0]
    fit = fit_logistic(x[:, None], y)
    expected = expected_log_odds_ratio(400, 80, 0.25)
    assert expected.std_error == pytest.approx(fit.std_errors[1], rel=1e-9)


def test_risk_difference_error_gives_the_power_of_r(agrees: Callable[[float, str], bool]) -> None:
    """power.prop.test(n = 50, p1 = .50, p2 = .75), verified: 0.7401659. Its null variance is
    ours: pooled, both arms at the overall risk."""
    null = expected_risk_difference(10_000, 6_250, 0.5).std_error * np.sqrt(10_000 / 100)
    unpooled = np.sqrt((0.5 * 0.5 + 0.75 * 0.25) / 50)
    power = ndtr((0.25 - ndtri(0.975) * null) / unpooled)
    assert agrees(float(power), "0.7401659")


def test_width_is_two_half_intervals_and_grows_with_the_design_effect() -> None:
    plain = expected_risk_difference(400, 40, 0.25)
    assert plain.std_error == pytest.approx(np.sqrt(0.1 * 0.9 / (400 * 0.25 * 0.75)))
    assert plain.width == pytest.approx(2 * 1.959963984540054 * plain.std_error)
    assert plain.high_over_low is None
    wider = expected_risk_difference(400, 40, 0.25, design_effect=1.44)
    assert wider.width == pytest.approx(1.2 * plain.width)
    ratio = expected_log_hazard_ratio(50, 0.5)
    assert ratio.high_over_low == pytest.approx(np.exp(ratio.width))


def test_explained_exposure_inflates_the_variance_as_hsieh_and_lavori_do() -> None:
    """Hsieh & Lavori 2000, p. 557: 63.2688874891552 deaths unadjusted (R); the events needed
    grow by 1 / (1 - R2), here R2 0.1837."""
    plain = expected_log_hazard_ratio(63, 0.5).std_error
    adjusted = expected_log_hazard_ratio(63, 0.5, explained=0.1837).std_error
    assert (adjusted / plain) ** 2 == pytest.approx(1 / (1 - 0.1837))


def test_no_event_or_one_arm_gives_no_finite_interval() -> None:
    assert np.isinf(expected_log_hazard_ratio(0, 0.5).std_error)
    assert np.isinf(expected_log_hazard_ratio(10, 1.0).width)
    assert np.isinf(expected_risk_difference(10, 0, 0.5).std_error)
    assert np.isinf(expected_log_odds_ratio(0, 0, 0.5).std_error)


def test_events_per_parameter_takes_the_rarer_outcome() -> None:
    assert events_per_parameter(30, 6) == 5
    assert events_per_parameter(30, 6, n=42) == 2
    with pytest.raises(ValueError, match="parameters must be at least 1, got 0"):
        events_per_parameter(3, 0)
    with pytest.raises(ValueError, match="events must lie between 0 and n"):
        events_per_parameter(5, 1, n=4)


@pytest.mark.parametrize("share", [-0.1, 1.2])
def test_share_beyond_its_limits_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="share_exposed must lie between 0 and 1"):
        expected_log_hazard_ratio(10, share)
    with pytest.raises(ValueError, match="explained must lie between 0 and 1"):
        expected_log_hazard_ratio(10, 0.5, explained=1)
