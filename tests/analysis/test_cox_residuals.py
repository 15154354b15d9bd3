"""Residuals of Cox models against R, by row and by animal, and their defining properties."""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis.cox import CoxFit, fit_cox
from analysis.cox_diagnostics import Transform
from analysis.cox_over_time import coefficient_over_time
from analysis.cox_residuals import (
    deviance_residuals,
    dfbeta,
    martingale_residuals,
    schoenfeld_residuals,
    score_residuals_by_row,
)
from analysis.kernels.cox import Ties
from tests.analysis.r_values import r_values

ORACLES = Path(__file__).parents[1] / "oracles"
TERMS = ("x1", "x2", "x3")
ALSO = {"plain": {}, "late": {"entry": "entry"}, "stratified": {"strata": "stratum"},
        "weighted": {"weights": "weight"}}  # fmt: skip
TIES: tuple[Ties, ...] = ("efron", "breslow")
ROWS = (1, 5, 17, 40, 77)


def tied() -> pl.DataFrame:
    return pl.read_csv(ORACLES / "survival_tied.csv")


def fitted(model: str, ties: Ties) -> CoxFit:
    rows = tied()
    also: dict[str, Any] = {name: rows[of].to_numpy() for name, of in ALSO[model].items()}
    return fit_cox(
        rows.select(TERMS).to_numpy(), rows["time"].to_numpy(), (rows["state"] == 1).to_numpy(),
        ties=ties, names=TERMS, **also,
    )  # fmt: skip


@pytest.mark.parametrize("ties", TIES)
@pytest.mark.parametrize("model", list(ALSO))
def test_residuals_agree_with_r(model: str, ties: Ties) -> None:
    """R only: residuals() of coxph, some rows and the sum of squares of all, 1e-6."""
    fit, r, key = fitted(model, ties), r_values("survival_residuals"), f"{ties} {model}"
    martingale, deviance = martingale_residuals(fit), deviance_residuals(fit)
    score, influence = score_residuals_by_row(fit), dfbeta(fit)
    by_animal = dfbeta(fit, tied()["animal"].to_numpy())
    for row in ROWS:
        assert martingale[row - 1] == pytest.approx(r[key, f"martingale {row}"], rel=1e-6)
        assert deviance[row - 1] == pytest.approx(r[key, f"deviance {row}"], rel=1e-6)
        for place, term in enumerate(TERMS):
            expected = r[key, f"score {row} {term}"]
            assert score[row - 1, place] == pytest.approx(expected, rel=1e-6, abs=1e-9)
            expected = r[key, f"dfbeta {row} {term}"]
            assert influence[row - 1, place] == pytest.approx(expected, rel=1e-6, abs=1e-11)
    for name, values in (("martingale", martingale), ("deviance", deviance)):
        assert np.sum(values**2) == pytest.approx(r[key, f"{name} squares"], rel=1e-6)
    for name, table in (("score", score), ("dfbeta", influence), ("dfbeta by animal", by_animal)):
        for place, term in enumerate(TERMS):
            squares = r[key, f"{name} squares {term}"]
            assert np.sum(table[:, place] ** 2) == pytest.approx(squares, rel=1e-6)


@pytest.mark.parametrize("ties", TIES)
@pytest.mark.parametrize("model", ["plain", "late", "stratified"])
def test_schoenfeld_residuals_agree_with_r(model: str, ties: Ties) -> None:
    """R only: types schoenfeld and scaledsch, 1e-6."""
    fit, r, key = fitted(model, ties), r_values("survival_residuals"), f"{ties} {model}"
    found = schoenfeld_residuals(fit)
    for place, term in enumerate(TERMS):
        squares = r[key, f"schoenfeld squares {term}"]
        assert np.sum(found.residual[:, place] ** 2) == pytest.approx(squares, rel=1e-6)
        squares = r[key, f"scaled squares {term}"]
        assert np.sum(found.scaled[:, place] ** 2) == pytest.approx(squares, rel=1e-6)
    np.testing.assert_allclose(found.residual.sum(axis=0), 0, atol=1e-6)
    np.testing.assert_allclose(found.scaled.mean(axis=0), fit.coefficients, rtol=1e-8)


@pytest.mark.parametrize("ties", TIES)
@pytest.mark.parametrize("transform", ["km", "identity", "rank", "log"])
def test_smooth_and_its_errors_agree_with_r(transform: Transform, ties: Ties) -> None:
    """R only: the lines that plot.cox.zph draws, 1e-6."""
    fit, r, key = fitted("plain", ties), r_values("survival_residuals"), f"{ties} plain {transform}"
    for term in TERMS:
        found = coefficient_over_time(fit, term, transform=transform, places=5)
        assert found is not None
        for place in range(5):
            there = found.places[place]
            assert there == pytest.approx(r[key, f"x {place + 1}"], rel=1e-9, abs=1e-12)
            height = r[key, f"y {term} {place + 1}"]
            assert found.estimate[place] == pytest.approx(height, rel=1e-6, abs=1e-9)
            error = r[key, f"error {term} {place + 1}"]
            assert found.std_error[place] == pytest.approx(error, rel=1e-6)


def test_a_row_less_moves_the_coefficients_by_about_its_influence() -> None:
    """Second route: the fit without the rows that move a coefficient most."""
    rows, fit = tied(), fitted("plain", "efron")
    influence = dfbeta(fit)
    for place in range(3):
        row = int(np.argmax(np.abs(influence[:, place])))
        rest = rows.with_row_index().filter(pl.col("index") != row)
        without = fit_cox(
            rest.select(TERMS).to_numpy(), rest["time"].to_numpy(),
            (rest["state"] == 1).to_numpy(),
        ).coefficients  # fmt: skip
        moved = fit.coefficients[place] - without[place]
        assert moved == pytest.approx(influence[row, place], rel=0.25)


def test_sums_are_nil_and_deviance_has_the_sign_of_martingale() -> None:
    fit = fitted("weighted", "efron")
    martingale = martingale_residuals(fit)
    assert fit.rows.weights is not None
    assert np.sum(fit.rows.weights * martingale) == pytest.approx(0, abs=1e-8)
    assert (np.sign(deviance_residuals(fit)) == np.sign(martingale)).all()
    weighted = fit.rows.weights[:, None] * score_residuals_by_row(fit)
    np.testing.assert_allclose(weighted.sum(axis=0) / fit.data.scale, 0, atol=1e-6)


def test_no_residual_without_a_fit_and_no_smooth_of_few_days() -> None:
    arm = np.array([1.0, 1, 0, 0])
    apart = fit_cox(arm[:, None], np.array([1.0, 2, 3, 4]), arm)
    with pytest.raises(ValueError, match="fit must hold a number for every term"):
        schoenfeld_residuals(apart)
    few = fit_cox(np.array([[1.0], [0], [1], [0]]), np.array([1.0, 2, 3, 4]), np.ones(4))
    assert coefficient_over_time(few, "x1") is None
    with pytest.raises(ValueError, match="term must be one of x1, got 'leg'"):
        coefficient_over_time(few, "leg")
