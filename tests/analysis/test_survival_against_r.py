"""Every survival estimator against R's, on invented data with ties, clusters and late entry.

Values come from tests/oracles/survival_models.R and survival_firth.R (R and package
versions in the head of their output). Tolerance 1e-6 of the value; where R's own optimiser is
looser, that is said.
"""

from functools import cache

import numpy as np
import polars as pl
import pytest

from analysis.cox import (
    CoxFit,
    baseline_cumulative_hazard,
    expected_by_row,
    fit_cox,
    proportional_hazards_test,
)
from analysis.cox_diagnostics import Transform
from analysis.firth_cox import fit_firth_cox
from analysis.incidence import aalen_johansen, incidence_at
from analysis.kernels.cox import Ties
from analysis.standardise_incidence import CauseModel, standardised_incidence
from analysis.survival import ConfType, KaplanMeier, kaplan_meier, log_rank
from tests.analysis.r_values import ORACLES, r_values

TERMS = ("x1", "x2", "x3")
DAYS = (28, 98, 196, 350)


@cache
def tied() -> pl.DataFrame:
    return pl.read_csv(ORACLES / "survival_tied.csv")


def close(value: float, group: str, quantity: str, rel: float = 1e-6) -> None:
    script = "survival_firth" if group.startswith("firth") else "survival_models"
    right = r_values(script)[group, quantity]
    assert value == pytest.approx(right, rel=rel, abs=1e-12), quantity


@cache
def fitted(ties: Ties, kind: str) -> CoxFit:
    d = tied()
    full = kind == "all"
    return fit_cox(
        d.select(TERMS).to_numpy(), d["time"], d["state"] == 1,
        entry=d["entry"] if full or kind == "entry" else None,
        strata=d["stratum"] if full or kind == "strata" else None,
        weights=d["weight"] if full or kind == "weights" else None,
        cluster=d["animal"], ties=ties, names=TERMS,
    )  # fmt: skip


KINDS = [(ties, kind) for ties in ("efron", "breslow")
         for kind in ("plain", "strata", "weights", "entry", "all")]  # fmt: skip


@pytest.mark.parametrize(("ties", "kind"), KINDS)
def test_cox_coefficients_errors_and_tests(ties: Ties, kind: str) -> None:
    """coxph(..., cluster = animal), convergence tightened to 1e-13."""
    fit, group = fitted(ties, kind), f"cox {ties} {kind}"
    for place, term in enumerate(TERMS):
        close(fit.coefficients[place], group, f"coef {term}")
        close(np.sqrt(fit.covariance_model[place, place]), group, f"se {term}")
        close(fit.std_errors[place], group, f"robust se {term}")
    close(fit.log_likelihood_null, group, "null")
    close(fit.log_likelihood, group, "log likelihood")
    close(fit.score.statistic, group, "score")
    close(fit.wald.statistic, group, "wald")
    close(fit.robust_score.statistic, group, "robust score")
    if (group, "concordance") in r_values("survival_models"):
        close(fit.concordance, group, "concordance")


@pytest.mark.parametrize(("ties", "kind"), KINDS)
def test_cox_baseline_and_expected_events(ties: Ties, kind: str) -> None:
    """basehaz(fit, centered = FALSE) and status less martingale residual."""
    fit, group = fitted(ties, kind), f"cox {ties} {kind}"
    base = baseline_cumulative_hazard(fit, centred=False)
    close(base.cumulative_hazard[-1], group, "last hazard")
    expected = expected_by_row(fit)
    for row in (1, 50, 200, 400):
        close(expected[row - 1], group, f"expected {row}")


@pytest.mark.parametrize(("ties", "kind"), KINDS)
@pytest.mark.parametrize("transform", ["km", "identity", "rank", "log"])
def test_proportional_hazards(ties: Ties, kind: str, transform: Transform) -> None:
    """cox.zph of survival 3.5: the score test."""
    held = proportional_hazards_test(fitted(ties, kind), transform=transform)
    group = f"cox {ties} {kind}"
    for term in TERMS:
        close(held.by_term[term].statistic, group, f"zph {transform} {term}")
    close(held.overall.statistic, group, f"zph {transform} GLOBAL")


def curve(conf_type: ConfType) -> tuple[KaplanMeier, KaplanMeier]:
    d = tied()
    late = kaplan_meier(d["time"], d["state"] == 1, entry=d["entry"], conf_type=conf_type)
    return late, kaplan_meier(d["time"], d["state"] > 0, conf_type=conf_type)


@pytest.mark.parametrize("conf_type", ["log-log", "log", "plain"])
def test_kaplan_meier_with_late_entry(conf_type: ConfType) -> None:
    """survfit(Surv(entry, time, event) ~ 1, conf.type = ...)."""
    late, _ = curve(conf_type)
    for day in DAYS:
        place = int(np.searchsorted(late.day, day, side="right")) - 1
        for name, values in (("survival", late.estimate), ("se", late.std_error),
                             ("low", late.low), ("high", late.high)):  # fmt: skip
            close(values[place], f"km {conf_type}", f"{name} {day}")


@pytest.mark.parametrize("conf_type", ["log-log", "log", "plain"])
@pytest.mark.parametrize("percent", [25, 50])
def test_quantiles_of_survival(conf_type: ConfType, percent: int) -> None:
    """quantile(survfit(...))."""
    found = curve(conf_type)[1].quantile(percent / 100)
    close(found.estimate, f"km {conf_type}", f"q{percent}")
    close(found.low, f"km {conf_type}", f"q{percent} low")
    close(found.high, f"km {conf_type}", f"q{percent} high")


@pytest.mark.parametrize("rho", [0, 1])
def test_log_rank_of_three_groups(rho: int) -> None:
    """survdiff(..., rho = ), with and without strata()."""
    d = tied()
    event = d["state"] == 1
    plain = log_rank(d["time"], event, d["stratum"], rho=rho)
    close(plain.statistic, "log rank", f"rho {rho}")
    assert plain.df == 2
    stratified = log_rank(d["time"], event, d["stratum"], strata=d["x1"], rho=rho)
    close(stratified.statistic, "log rank", f"rho {rho} strata")


@pytest.mark.parametrize("kind", ["plain", "weights", "all"])
def test_cumulative_incidence(kind: str) -> None:
    """survfit(Surv(time, factor(state)) ~ 1): estimate, error, and influences summed by animal.

    R 3.5-3 takes no cluster here: the script sums its influences by animal.
    """
    d = tied()
    weights = None if kind == "plain" else d["weight"]
    entry = d["entry"] if kind == "all" else None
    for cluster, name in ((None, "se"), (d["animal"], "cluster se")):
        found = aalen_johansen(
            d["time"], d["state"], cause=1, cluster=cluster, weights=weights, entry=entry
        )
        for at in incidence_at(found, DAYS):
            close(at.estimate, f"aj {kind}", f"estimate {at.day:g}")
            close(at.std_error, f"aj {kind}", f"{name} {at.day:g}")


def test_aalen_johansen_by_cmprsk() -> None:
    """R package cmprsk, cuminc; its estimates are without a variance of ours to compare."""
    right = r_values("competing_cmprsk")
    for stratum in (0, 1, 2):
        d = tied().filter(pl.col("stratum") == stratum)
        for cause in (1, 2):
            found = aalen_johansen(d["time"], d["state"], cause=cause)
            for at in incidence_at(found, DAYS):
                value = right[f"stratum {stratum}", f"cause {cause} day {at.day:g}"]
                assert at.estimate == pytest.approx(value, rel=1e-12)


def test_standardised_incidence() -> None:
    """survfit of a multi-state coxph at newdata with the exposure set, averaged over the rows."""
    d = tied()
    x = d.select(TERMS).to_numpy().astype(float)
    arms: dict[str, np.ndarray] = {}
    for arm in (0, 1):
        arms[str(arm)] = x.copy()
        arms[str(arm)][:, 0] = arm
    event, other = (
        CauseModel(fit=fit_cox(x, d["time"], d["state"] == cause, ties="breslow"), arms=arms)
        for cause in (1, 2)
    )
    found = standardised_incidence(event, other, days=DAYS, reference="0", interval="jackknife")
    for risk in found.risks:
        close(risk.estimate, "standardised", f"arm {risk.arm} day {risk.day:g}")


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_firth_cox(ties: Ties) -> None:
    """The penalised likelihood from coxph(iter.max = 0), maximised by nlm, profiled by optim.

    Tolerance 2e-5: R's derivative-free optimisers find the place of a flat top no better; its
    height agrees to 1e-9.
    """
    d = tied()
    x = d.select(TERMS).to_numpy().astype(float)
    fit = fit_firth_cox(x, d["time"], d["state"] == 1, names=TERMS, limits_for=("x1",),
                        ties=ties)  # fmt: skip
    group = f"firth {ties}"
    for place, term in enumerate(TERMS):
        close(fit.coefficients[place], group, f"coef {term}", rel=2e-5)
    close(fit.log_likelihood, group, "log likelihood", rel=1e-9)
    close(fit.low[0], group, "low x1", rel=2e-5)
    close(fit.high[0], group, "high x1", rel=2e-5)
    close(fit.tests[0].statistic, group, "test x1")
