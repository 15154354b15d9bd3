"""Profile limits of a Cox model: a slow search in R, a constructed case, and data at the edge."""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis.cox import fit_cox
from analysis.cox_profile import profile_cox
from analysis.kernels.cox import Ties
from tests.analysis.r_values import r_values

ORACLES = Path(__file__).parents[1] / "oracles"
TERMS = ("x1", "x2", "x3")
ALSO = {"plain": {}, "late": {"entry": "entry"}, "stratified": {"strata": "stratum"},
        "weighted": {"weights": "weight"}}  # fmt: skip
TIES: tuple[Ties, ...] = ("efron", "breslow")


@pytest.mark.parametrize("ties", TIES)
@pytest.mark.parametrize("model", list(ALSO))
def test_limits_and_test_agree_with_a_search_in_r(model: str, ties: Ties) -> None:
    """R only: uniroot over coxph with the coefficient in an offset; 1e-7 of the estimate's error
    (R's root is good to 1e-9, its heights to 1e-13)."""
    rows, r, key = (
        pl.read_csv(ORACLES / "survival_tied.csv"),
        r_values("survival_profile"),
        f"{ties} {model}",
    )
    also: dict[str, Any] = {name: rows[of].to_numpy() for name, of in ALSO[model].items()}
    fit = fit_cox(
        rows.select(TERMS).to_numpy(), rows["time"].to_numpy(), (rows["state"] == 1).to_numpy(),
        ties=ties, names=TERMS, **also,
    )  # fmt: skip
    for place, term in enumerate(TERMS):
        found = profile_cox(fit, term)
        near = 1e-7 * fit.std_errors[place]
        assert found.low == pytest.approx(r[key, f"low {term}"], abs=near)
        assert found.high == pytest.approx(r[key, f"high {term}"], abs=near)
        statistic = found.likelihood_ratio.statistic
        assert statistic == pytest.approx(r[key, f"test {term}"], rel=1e-6, abs=1e-9)


def test_limits_of_two_arms_solve_their_equation() -> None:
    """Four events, one term, no ties: the log partial likelihood written out."""
    day, arm = np.array([1.0, 2, 3, 4]), np.array([1.0, 0, 1, 0])
    fit = fit_cox(arm[:, None], day, np.ones(4), names=("arm",))
    found = profile_cox(fit, "arm")

    def height(beta: float) -> float:
        risk = np.exp(beta * arm)
        return float(sum(beta * arm[one] - np.log(risk[one:].sum()) for one in range(4)))

    for limit in (found.low, found.high):
        assert 2 * (fit.log_likelihood - height(limit)) == pytest.approx(3.841458820694124)
    fall = 2 * (fit.log_likelihood - height(0.0))
    assert found.likelihood_ratio.statistic == pytest.approx(fall)
    assert found.low < fit.coefficients[0] < found.high


def test_the_test_of_one_term_is_that_of_the_model() -> None:
    rows = pl.read_csv(ORACLES / "survival_tied.csv")
    fit = fit_cox(rows.select("x1").to_numpy(), rows["time"].to_numpy(),
                  (rows["state"] == 1).to_numpy())  # fmt: skip
    found = profile_cox(fit, "x1")
    assert found.likelihood_ratio.statistic == pytest.approx(fit.likelihood_ratio.statistic)
    wider = profile_cox(fit, "x1", confidence=0.99)
    assert wider.low < found.low < found.high < wider.high


def test_no_limit_without_a_fit_and_a_strange_term_is_refused() -> None:
    arm = np.array([1.0, 1, 0, 0])
    fit = fit_cox(arm[:, None], np.array([1.0, 2, 3, 4]), arm, names=("arm",))
    found = profile_cox(fit, "arm")
    assert np.isnan([found.low, found.high, found.likelihood_ratio.statistic]).all()
    with pytest.raises(ValueError, match="term must be one of arm, got 'leg'"):
        profile_cox(fit, "leg")
