"""Subdistribution hazards: published values, R, clusters, and tables that cannot be fitted."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest

from analysis.cox import fit_cox
from analysis.fine_gray import FineGrayFit, fit_fine_gray, subdistribution_risks
from tests.analysis.r_values import ORACLES, r_values
from tests.analysis.test_incidence import PUBLISHED, mgus2

Agrees = Callable[[float, str], bool]
TERMS = ("x1", "x2", "x3")


def by_sex(cause: int) -> FineGrayFit:
    frame = mgus2()
    male = (frame["sex"] == "M").cast(pl.Float64).to_numpy()[:, None]
    return fit_fine_gray(male, frame["months"], frame["state"], cause=cause)


@pytest.mark.parametrize(
    ("cause", "printed"),
    [(1, ("-0.2290", "0.7953", "0.1866")), (2, ("0.23349", "1.26299", "0.06894"))],
)
def test_malignancy_and_death_by_sex(agrees: Agrees, cause: int, printed: tuple[str, ...]) -> None:
    """R package survival, vignette "compete", verified.

    Its robust errors (0.1813 and 0.06427) take every weighted row as a cluster of its own; by
    animal they are those below.
    """
    fit = by_sex(cause)
    beta, error = fit.coefficients[0], np.sqrt(fit.covariance_model[0, 0])
    for value, text in zip((beta, np.exp(beta), error), printed, strict=True):
        assert agrees(value, text)


def test_robust_error_by_patient_with_weights_as_known() -> None:
    """R package survival, finegray and coxph with cluster = id, computed here."""
    error = np.sqrt(by_sex(1).covariance_weights_known[0, 0])
    assert error == pytest.approx(0.185774070046744, rel=1e-9)


def test_simulated_competing_risks_of_cmprsk(agrees: Agrees) -> None:
    """Reference output of the tests of the R package cmprsk, verified: estimates and errors."""
    frame = pl.read_csv(PUBLISHED / "cmprsk_reference.csv").drop_nulls(["cv1", "cv2", "cv3"])
    x = frame.select("cv1", "cv2", "cv3").to_numpy().astype(float)
    fit = fit_fine_gray(x, frame["time"], frame["cause"], cause=1, ties="breslow",
                        censoring="with_events")  # fmt: skip
    printed = ("-0.2913", "-0.06346", "-0.4751", "0.3698", "0.3566", "0.3544")
    for value, text in zip((*fit.coefficients, *fit.std_errors), printed, strict=True):
        assert agrees(value, text)


@pytest.mark.parametrize("cause", [1, 2])
@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_tied_rows_as_r_has_them(cause: int, ties: str) -> None:
    """survival::finegray and coxph: estimates, model and row errors, likelihoods."""
    right, group = r_values("competing_regression"), f"cause {cause}"
    frame = pl.read_csv(ORACLES / "survival_tied.csv")
    fit = fit_fine_gray(frame.select(TERMS).to_numpy().astype(float), frame["time"],
                        frame["state"], cause=cause, ties=ties)  # type: ignore[arg-type] # fmt: skip
    model = np.sqrt(np.diag(fit.covariance_model))
    for place, term in enumerate(TERMS):
        beta = right[group, f"survival {ties} {term}"]
        assert fit.coefficients[place] == pytest.approx(beta, rel=1e-6)
        error = right[group, f"survival {ties} model se {term}"]
        assert model[place] == pytest.approx(error, rel=1e-6)
    assert fit.log_likelihood == pytest.approx(
        right[group, f"survival {ties} log likelihood fit"], rel=1e-9
    )
    assert fit.log_likelihood_null == pytest.approx(
        right[group, f"survival {ties} log likelihood null"], rel=1e-9
    )


@pytest.mark.parametrize("cause", [1, 2])
@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("by", ["row", "animal"])
def test_robust_errors_as_r_has_them(cause: int, ties: str, by: str) -> None:
    """survival::finegray and coxph with cluster: the censoring weights taken as known."""
    right, group = r_values("competing_regression"), f"cause {cause}"
    frame = pl.read_csv(ORACLES / "survival_tied.csv")
    fit = fit_fine_gray(
        frame.select(TERMS).to_numpy().astype(float), frame["time"], frame["state"], cause=cause,
        ties=ties, cluster=frame["animal"] if by == "animal" else None,  # type: ignore[arg-type]
    )  # fmt: skip
    errors = np.sqrt(np.diag(fit.covariance_weights_known))
    for place, term in enumerate(TERMS):
        assert errors[place] == pytest.approx(
            right[group, f"survival {ties} {by} se {term}"], rel=1e-6
        )


@pytest.mark.parametrize("cause", [1, 2])
def test_tied_rows_as_cmprsk_has_them(cause: int) -> None:
    """cmprsk::crr: Breslow ties, rows with an event counted among those who may be censored."""
    right, group = r_values("competing_regression"), f"cause {cause}"
    frame = pl.read_csv(ORACLES / "survival_tied.csv")
    fit = fit_fine_gray(
        frame.select(TERMS).to_numpy().astype(float), frame["time"], frame["state"], cause=cause,
        ties="breslow", censoring="with_events",
    )  # fmt: skip
    for place, term in enumerate(TERMS):
        assert fit.coefficients[place] == pytest.approx(right[group, f"cmprsk {term}"], rel=1e-6)
    assert fit.log_likelihood == pytest.approx(right[group, "cmprsk log likelihood fit"], rel=1e-8)


def test_without_competing_events_it_is_the_cox_model() -> None:
    frame = pl.read_csv(ORACLES / "survival_tied.csv").with_columns(
        state=(pl.col("state") == 1).cast(pl.Int64)
    )
    x = frame.select(TERMS).to_numpy().astype(float)
    ours = fit_fine_gray(x, frame["time"], frame["state"], cause=1, cluster=frame["animal"])
    cox = fit_cox(x, frame["time"], frame["state"], cluster=frame["animal"])
    assert ours.coefficients == pytest.approx(cox.coefficients, rel=1e-8)
    assert ours.covariance == pytest.approx(cox.covariance, rel=1e-7)
    assert ours.log_likelihood == pytest.approx(cox.log_likelihood, rel=1e-12)


@pytest.mark.parametrize("cause", [1, 2])
def test_risks_of_rows_are_those_of_the_weighted_cox_model(cause: int) -> None:
    """survival::survfit of finegray and coxph, Breslow's ties, three rows on three days."""
    frame = pl.read_csv(ORACLES / "survival_tied.csv")
    x = frame.select(TERMS).to_numpy().astype(float)
    fit = fit_fine_gray(x, frame["time"], frame["state"], cause=cause, ties="breslow")
    right, days = r_values("survival_fine_gray_risks"), (98, 196, 350)
    for row in (1, 50, 200):
        ours = subdistribution_risks(fit, x[row - 1 : row], days)
        for day, risk in zip(days, ours, strict=True):
            expected = right[f"cause {cause}", f"row {row} day {day}"]
            assert risk == pytest.approx(expected, rel=1e-6)


def test_the_risk_of_several_rows_is_the_mean_of_theirs() -> None:
    fit = by_sex(1)
    each = [subdistribution_risks(fit, [[value]], [120])[0] for value in (0.0, 1.0)]
    assert subdistribution_risks(fit, [[0.0], [1.0]], [120])[0] == pytest.approx(np.mean(each))


def test_a_term_that_separates_is_named_and_has_no_number() -> None:
    arm = np.tile([1.0, 0.0], 50)
    state = np.where(arm == 1, 0, 1 + (np.arange(100) % 3 == 0))
    fit = fit_fine_gray(arm[:, None], np.arange(1, 101), state, cause=1, names=("arm",))
    assert fit.separated == ("arm",)
    assert np.isnan(fit.coefficients[0])
    assert "separation" in fit.concerns


@pytest.mark.parametrize(
    ("x", "state", "concern"),
    [
        ([1.0, 1.0, 1.0, 1.0], [1, 0, 2, 1], "not_identified"),
        ([0.0, 1.0, 0.0, 1.0], [0, 0, 2, 2], "no_events"),
        ([1.0, 1.0, 0.0, 0.0], [0, 0, 1, 1], "not_identified"),  # nobody of arm 1 is left
    ],
)
def test_what_cannot_be_fitted_has_a_reason_and_no_number(
    x: list[float], state: list[int], concern: str
) -> None:
    fit = fit_fine_gray(np.array(x)[:, None], [1, 2, 3, 4], state, cause=1)
    assert np.isnan(fit.coefficients).all()
    assert concern in fit.concerns
    assert not fit.converged


def test_a_hundred_fits_of_tied_rows_give_the_same_bytes() -> None:
    frame = pl.read_csv(ORACLES / "survival_tied.csv")
    x = frame.select(TERMS).to_numpy().astype(float)
    found = {
        fit_fine_gray(x, frame["time"], frame["state"], cause=1, cluster=frame["animal"])
        .covariance.tobytes()
        for _ in range(100)
    }  # fmt: skip
    assert len(found) == 1


def test_a_negative_time_or_an_odd_state_is_refused() -> None:
    with pytest.raises(ValueError, match="time"):
        fit_fine_gray([[0.0], [1.0]], [-1, 2], [0, 1], cause=1)
    with pytest.raises(ValueError, match="state must hold whole numbers"):
        fit_fine_gray([[0.0], [1.0]], [1, 2], [0.5, 1], cause=1)
    with pytest.raises(ValueError, match="cause must be at least 1"):
        fit_fine_gray([[0.0], [1.0]], [1, 2], [0, 1], cause=0)
