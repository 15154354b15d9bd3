"""Predicted survival of a Cox model: R's survfit with new data, a hand-made case, the edges."""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis.cox import fit_cox
from analysis.cox_predict import predict_survival
from analysis.kernels.cox import Ties
from tests.analysis.r_values import r_values

ORACLES = Path(__file__).parents[1] / "oracles"
TERMS = ("x1", "x2", "x3")
ALSO = {"plain": {}, "late": {"entry": "entry"}, "robust": {"cluster": "animal"}}
NEW = ((0.0, -0.5, 2019.0), (1.0, 1.2, 2022.0))
DAYS = (91, 183, 365)
TIES: tuple[Ties, ...] = ("efron", "breslow")


@pytest.mark.parametrize("ties", TIES)
@pytest.mark.parametrize("model", list(ALSO))
def test_survival_agrees_with_r(model: str, ties: Ties) -> None:
    """R only: survfit(coxph, newdata), log-log limits, 1e-6."""
    rows, r = pl.read_csv(ORACLES / "survival_tied.csv"), r_values("survival_predict")
    also: dict[str, Any] = {name: rows[of].to_numpy() for name, of in ALSO[model].items()}
    fit = fit_cox(
        rows.select(TERMS).to_numpy(), rows["time"].to_numpy(), (rows["state"] == 1).to_numpy(),
        ties=ties, names=TERMS, **also,
    )  # fmt: skip
    for number, new in enumerate(NEW, start=1):
        found, key = predict_survival(fit, new, DAYS), f"{ties} {model} {number}"
        for place, day in enumerate(DAYS):
            for name, values in (("survival", found.survival), ("low", found.low),
                                 ("high", found.high), ("error", found.std_error)):  # fmt: skip
                assert values[place] == pytest.approx(r[key, f"{name} {day}"], rel=1e-6)


def test_one_term_without_ties_by_hand() -> None:
    day, arm = np.array([1.0, 2, 3, 4]), np.array([1.0, 0, 1, 0])
    fit = fit_cox(arm[:, None], day, np.ones(4))
    ratio = float(np.exp(fit.coefficients[0]))
    found = predict_survival(fit, [1.0], [0.5, 2.0])
    hazard = ratio / (2 * ratio + 2) + ratio / (ratio + 2)
    assert found.survival[0] == 1
    assert found.survival[1] == pytest.approx(np.exp(-hazard))


def test_no_survival_beyond_follow_up_or_of_a_fit_without_numbers() -> None:
    day, arm = np.array([1.0, 2, 3, 4]), np.array([1.0, 0, 1, 0])
    fit = fit_cox(arm[:, None], day, np.ones(4))
    assert np.isnan(predict_survival(fit, [0.0], [4.5]).survival).all()
    apart = fit_cox(np.array([[1.0], [1], [0], [0]]), day, np.array([1.0, 1, 0, 0]))
    with pytest.raises(ValueError, match="a number for every term"):
        predict_survival(apart, [0.0], [1.0])
    strata = fit_cox(arm[:, None], day, np.ones(4), strata=np.array([0, 0, 0, 1]))
    with pytest.raises(ValueError, match="neither strata nor weights"):
        predict_survival(strata, [0.0], [1.0])
