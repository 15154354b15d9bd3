"""What a plan may ask for a yes/no outcome beside its own choice, each on an invented study."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.arrays import FloatArray, inverse
from analysis.bias_reduced import bias_reduced
from analysis.conditional import fit_conditional_logistic
from analysis.exact_test import ExactTest, fisher_test, mid_p_test
from analysis.gee_logistic import fit_gee_logistic
from analysis.kernels.logistic import fit_logistic_batch
from analysis.kernels.mixed import MarginalTop, clusters_differ, maximise_marginal
from analysis.kernels.quadrature import marginal_point, mixed_rows
from analysis.logistic import LogisticFit
from analysis.mixed_logistic import FIRST_SPREAD, POINTS
from analysis.scaling import scaled_design
from analysis.stratified import mantel_haenszel
from analysis.two_groups import TwoGroups
from analysis.two_proportions import Contrast, odds_ratio, risk_difference_newcombe
from analysis.wild_bootstrap import wild_bootstrap

Row = dict[str, object]
NORMAL = 1.959964
MARGINAL = "log odds ratio"
LABELS = {
    "gee": (MARGINAL, "GEE, exchangeable by animal"),
    "mixed": ("log odds ratio given the animal", "random intercept by animal"),
    "wild": (MARGINAL, "maximum likelihood, wild bootstrap by clinic (six values)"),
    "animal": (MARGINAL, "maximum likelihood, CR2 by animal"),
    "clinic": (MARGINAL, "maximum likelihood, CR2 by clinic"),
}
DEAR = ("gee", "mixed", "wild")


def row_of(
    estimand: str,
    method: str,
    estimate: float | None,
    low: float | None,
    high: float | None,
    *,
    said: bool = False,
) -> Row:
    """Give one row of the study; an estimate that is no finite number is none, limits may be."""
    values = {"estimate": estimate, "low": low, "high": high}
    named = {key: None if value is None or np.isnan(value) else float(value)
             for key, value in values.items()}  # fmt: skip
    if named["estimate"] is not None and np.isinf(named["estimate"]):
        named["estimate"] = None
    return {"estimand": estimand, "method": method, **named, "said": said}


def no_fit_rows(dear: bool) -> Iterator[Row]:
    """Say that a study in which a term separates has no number by any of the models."""
    for name, label in LABELS.items():
        if dear or name not in DEAR:
            yield row_of(*label, None, None, None)


def fitted_rows(
    fit: LogisticFit, x: FloatArray, y: FloatArray, study: pl.DataFrame, *, dear: bool
) -> Iterator[Row]:
    """Give the models of a study in which no term separates; the arm is the first term."""
    animal = study["animal_id"].to_numpy().astype(str)
    clinic = study["clinic_id"].to_numpy().astype(str)
    middle = float(fit.coefficients[1])
    for name, cluster in (("animal", animal), ("clinic", clinic)):
        half = float(bias_reduced(fit, x, y, cluster=cluster).half_widths(0.95)[1])
        yield row_of(*LABELS[name], middle, middle - half, middle + half)
    if not dear:
        return
    gee = fit_gee_logistic(x, y, cluster=animal)
    yield _wald(LABELS["gee"], gee.coefficients[1], gee.covariance[1, 1])
    yield _wald(LABELS["mixed"], *_mixed(x, y, animal))
    wild = wild_bootstrap(x, y, cluster=clinic, signs="webb")
    limits = (wild.terms[0].low, wild.terms[0].high) if wild else (None, None)
    yield row_of(*LABELS["wild"], middle if wild else None, *limits)


def _wald(label: tuple[str, str], middle: float, variance: float) -> Row:
    half = NORMAL * float(np.sqrt(variance))
    return row_of(*label, float(middle), float(middle - half), float(middle + half))


def _mixed(x: FloatArray, y: FloatArray, animal: npt.NDArray[np.str_]) -> tuple[float, float]:
    """Give estimate and variance of ``fit_mixed_logistic`` without its limits of the spread.

    These take a hundred times as long as all else, and nothing here asks for them.
    """
    z, back = scaled_design(x)
    order = np.argsort(animal, kind="stable")
    z, y = np.asfortranarray(z[order]), y[order]
    rows = mixed_rows(z, y, np.unique(animal[order], return_inverse=True)[1])
    beta = fit_logistic_batch(z, y).coefficients[:, 0]
    top = MarginalTop(beta, 0.0, marginal_point(rows, beta, 0.0, POINTS), converged=True)
    if clusters_differ(rows, beta):
        top = maximise_marginal(rows, beta, FIRST_SPREAD, points=POINTS)
    if not top.converged:
        return float("nan"), float("nan")
    p = len(beta)
    regular = p + 1 if top.spread else p
    covariance = back @ inverse(top.point.information[:regular, :regular])[:p, :p] @ back.T
    return float((back @ top.beta)[1]), float(covariance[1, 1])


def table_rows(study: pl.DataFrame) -> Iterator[Row]:
    """Give what tables say: crude contrasts, by clinic, and within animals."""
    crude, name = _groups(study), "crude log odds ratio"
    yield _ratio(name, "Woolf", odds_ratio(crude))
    yield _ratio(name, "exact, Fisher", fisher_test(crude))
    yield _ratio(name, "exact, mid-p", mid_p_test(crude))
    gap, method = risk_difference_newcombe(crude), "Newcombe, knees taken as independent"
    yield row_of("crude risk difference", method, gap.estimate, gap.low, gap.high)
    clinics = study.partition_by("clinic_id", maintain_order=True)
    strata = mantel_haenszel(tuple(_groups(one) for one in clinics if one["arm"].n_unique() > 1))
    method, gap = "Mantel-Haenszel", strata.risk_difference
    yield _ratio("log odds ratio within clinics", method, strata.odds_ratio)
    yield row_of("risk difference within clinics", method, gap.estimate, gap.low, gap.high)
    yield _within_animals(study)


def _within_animals(study: pl.DataFrame) -> Row:
    exposed = (study["arm"] == "new").cast(pl.Float64).to_numpy()[:, None]
    outcome = study["outcome"].cast(pl.Float64).to_numpy()
    found = fit_conditional_logistic(exposed, outcome, matched_set=study["animal_id"].to_numpy())
    label = ("log odds ratio within an animal", "conditional logistic by animal, arm alone")
    return _wald(label, found.fit.coefficients[0], found.fit.covariance[0, 0])


def _groups(study: pl.DataFrame) -> TwoGroups:
    outcome, exposed = study["outcome"].to_numpy(), (study["arm"] == "new").to_numpy()
    return TwoGroups(
        events=int(outcome[exposed].sum()), n=int(exposed.sum()),
        reference_events=int(outcome[~exposed].sum()), reference_n=int((~exposed).sum()),
    )  # fmt: skip


def _ratio(estimand: str, method: str, found: Contrast | ExactTest) -> Row:
    """Give the logarithms; of nil it is minus infinity, a limit but no estimate."""
    middle = found.odds_ratio if isinstance(found, ExactTest) else found.estimate
    with np.errstate(divide="ignore"):
        values = [float(value) for value in np.log([middle, found.low, found.high])]
    return row_of(estimand, method, *values)
