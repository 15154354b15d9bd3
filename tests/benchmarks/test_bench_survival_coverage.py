"""Bias and coverage of survival estimators where events are found at rechecks only.

Run by ``make bench``: minutes on two cores. 1,200 studies, 400 at each of 40, 80 and 160 expected
events; pairs of knees clustered by animal, 20 clinics as terms, deaths that compete. Nothing sees
the day the event began: coverage is of the truth of that day, so that what detection at visits
costs is part of it. The plan's own choice is taken from plans as a user runs them.
"""

import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from shared.estimate import Estimate
from tests.benchmarks.recheck_studies import EVENTS, LOG_HAZARD_RATIO, YEAR, truth

if TYPE_CHECKING:
    from analysis.design import Design

STUDIES = int(os.environ.get("SULCA_BENCH_STUDIES", "400"))  # at each number of events
KEPT = 0.93  # least coverage of the hazard ratios that a plan picks
Publish = Callable[[pl.DataFrame, str, str], None]
Row = dict[str, object]
TERMS = ["grade", "clinic_id"]
RESAMPLES, EVERY = 200, 5  # the bootstrap takes long: in every fifth study
RATIO, CRUDE, MEAN = "log hazard ratio", "risk difference, crude", "difference of mean free days"
RISK = "risk difference, standardised over clinic and grade"
BY_GRADE = "risk difference, standardised over grade"  # apart from clinic and arm: as the crude one
ARMS = {"id": "x", "exposure": "arm", "levels": ["old", "new"], "cluster": "animal_id"}
STATES = {
    "time": "day", "event": "state", "event_of_interest": "reluxation", "competing": ["death"],
    "censored": "censored", "horizon": [YEAR],
}  # fmt: skip
CRUDE_RISK = {"model": "cumulative_incidence", "adjustments": ["crude"]}


def estimates_of(job: tuple[int, int]) -> list[Row]:
    """Invent one study and estimate everything; low and high are null without a number."""
    from tests.benchmarks.recheck_studies import invent_study

    seed, events = job
    study = invent_study(seed, events)
    found = int((study["state"] == "reluxation").sum())
    label = {"seed": seed, "expected": events, "events": found}
    again = _standardised_plan(study) if seed % EVERY == 0 else ()
    return [label | row for row in (*_planned(study), *_direct(study), *_between_visits(study),
                                    *_standardised(study), *again)]  # fmt: skip


def _planned(study: pl.DataFrame) -> Iterator[Row]:
    """What plans give: hazard ratios within clinics, crude risks and mean days."""
    within = {"adjust_for": ["grade"], "categorical": {"arm": "old"}, "strata": ["clinic_id"]}
    plans = (
        ({**STATES, **within, "model": "cox", "adjustments": ["adjusted"], "role": "primary"},
         "hazard_ratio", RATIO, "Cox, clinics as strata, robust by animal (the plan)"),
        ({**STATES, **CRUDE_RISK}, "risk_difference", CRUDE, "as detected (the plan)"),
        ({**STATES, **CRUDE_RISK, "seen_within_days": 28}, "risk_difference", CRUDE,
         "followed to the year (the plan)"),
        ({**STATES, "model": "restricted_mean"}, "restricted_mean_difference", MEAN,
         "as detected (the plan)"),
    )  # fmt: skip
    for plan, measure, estimand, method in plans:
        for row in _rows_of(study, plan):
            if row.measure == measure and (measure != "hazard_ratio" or row.role == "primary"):
                log = estimand == RATIO
                yield _row(estimand, method, *(None if value is None else
                           float(np.log(value)) if log else value
                           for value in (row.estimate, row.low, row.high)))  # fmt: skip


def _standardised_plan(study: pl.DataFrame) -> Iterator[Row]:
    plan = {**STATES, "adjust_for": ["grade"], "categorical": {"arm": "old"},
            "model": "cumulative_incidence", "resamples": RESAMPLES,
            "adjustments": ["standardised"], "seen_within_days": 28}  # fmt: skip
    for row in _rows_of(study, plan):
        if row.measure == "risk_difference":
            method = "bootstrap of animals, followed to the year (the plan)"
            yield _row(BY_GRADE, method, row.estimate, row.low, row.high)


def _direct(study: pl.DataFrame) -> Iterator[Row]:
    """Clinics as terms: Firth's fit, as the plan takes where sparse, and others beside it."""
    from analysis.cox import fit_cox
    from analysis.firth_cox import fit_firth_cox
    from analysis.penalised_variance import robust_firth_cox

    event = (study["state"] == "reluxation").cast(pl.Float64).to_numpy()
    animal = study["animal_id"].to_numpy().astype(str)
    x, names = _design(study).matrix, _design(study).names
    fit = fit_cox(x, study["day"], event, cluster=animal, names=names, concordance=False)
    yield _wald("Cox, clinics as terms, robust by animal", fit.coefficients[0], fit.covariance)
    yield _wald("Cox, clinics as terms, model-based", fit.coefficients[0], fit.covariance_model)
    firth = fit_firth_cox(x, study["day"], event, names=names, limits_for=())
    robust = robust_firth_cox(firth, animal).covariance
    yield _wald("Firth's Cox, clinics as terms, robust by animal (the plan, where sparse)",
                firth.coefficients[0], robust)  # fmt: skip
    yield _wald("Firth's Cox, clinics as terms, model-based", firth.coefficients[0],
                firth.covariance)  # fmt: skip


def _between_visits(study: pl.DataFrame) -> Iterator[Row]:
    """Weibull models of intervals: clinics as terms, and without clinics."""
    from analysis.parametric import fit_parametric

    ends = study["left"], study["right"].fill_null(float("inf"))
    animal = study["animal_id"].to_numpy().astype(str)
    for clinics in (True, False):
        design = _design(study, clinics=clinics)
        fit = fit_parametric(design.matrix, *ends, distribution="weibull", cluster=animal)
        slope = np.zeros(len(fit.coefficients))  # of -coefficient / scale
        slope[1], slope[-1] = -1 / fit.scale, fit.coefficients[1] / fit.scale
        with_or_without = "clinics as terms" if clinics else "clinics left out"
        yield _wald(
            f"Weibull between visits, {with_or_without}, robust by animal",
            -fit.coefficients[1] / fit.scale, (slope @ fit.covariance @ slope)[None, None],
        )  # fmt: skip


def _standardised(study: pl.DataFrame) -> Iterator[Row]:
    """Closed-form limits of standardised differences; nothing where a clinic separates."""
    from analysis.cox import fit_cox
    from analysis.design import set_level
    from analysis.standardise_incidence import CauseModel, standardised_incidence

    day, animal = study["day"].to_numpy(), study["animal_id"].to_numpy().astype(str)
    free = (study["state"] == "censored").to_numpy() & (day >= YEAR - 28)
    followed = np.where(free, np.maximum(day, YEAR), day)
    for clinics, days, words in ((True, followed, "followed to the year"),
                                 (False, day, "as detected"),
                                 (False, followed, "followed to the year")):  # fmt: skip
        estimand, design = RISK if clinics else BY_GRADE, _design(study, clinics=clinics)
        fits = [
            fit_cox(design.matrix[:, :wide], days, (study["state"] == state).cast(pl.Float64),
                    cluster=animal, names=design.names[:wide], concordance=False)
            for state, wide in (("reluxation", None), ("death", 2))
        ]  # fmt: skip
        if not all(np.isfinite(fit.coefficients).all() for fit in fits):
            yield _row(estimand, f"jackknife, {words}", None, None, None)
            continue
        arms = {level: set_level(design, "arm", level) for level in ("old", "new")}
        models = [
            CauseModel(fit=fit, arms={level: x[:, : len(fit.names)] for level, x in arms.items()})
            for fit in fits
        ]
        found = standardised_incidence(*models, days=[YEAR], reference="old",
                                       interval="jackknife").differences[0]  # fmt: skip
        yield _row(estimand, f"jackknife, {words}", found.estimate, found.low, found.high)


def _design(study: pl.DataFrame, *, clinics: bool = True) -> "Design":
    from analysis.design import Terms, build_design

    terms = ("arm", *TERMS) if clinics else ("arm", TERMS[0])
    categories = {"arm": "old", **({"clinic_id": "c00"} if clinics else {})}
    return build_design(study, Terms(columns=terms, categorical=categories))


def _rows_of(study: pl.DataFrame, plan: Mapping[str, object]) -> list[Estimate]:
    """Rows of one analysis that compare the new arm with the old."""
    from pipeline.analyses.run import run_analysis
    from pipeline.plan import parse_analysis

    rows = run_analysis(study, parse_analysis({**ARMS, **plan})).rows
    return [row for row in rows if row.term == "arm" and row.level == "new"]


def _wald(method: str, estimate: float, covariance: FloatArray) -> Row:
    half = 1.959964 * float(np.sqrt(covariance[0, 0]))
    return _row(RATIO, method, float(estimate), float(estimate) - half, float(estimate) + half)


def _row(
    estimand: str, method: str, estimate: float | None, low: float | None, high: float | None
) -> Row:
    values = {"estimate": estimate, "low": low, "high": high}
    named = {key: None if value is None or np.isnan(value) else float(value)
             for key, value in values.items()}  # fmt: skip
    return {"estimand": estimand, "method": method, **named}


def over_studies() -> pl.DataFrame:
    """Estimates of all studies, from two processes of one thread each."""
    os.environ["POLARS_MAX_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    jobs = [(seed, events) for events in EVENTS for seed in range(1, STUDIES + 1)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = [row for rows in pool.map(estimates_of, jobs, chunksize=25) for row in rows]
    schema = {"estimate": pl.Float64, "low": pl.Float64, "high": pl.Float64}
    return pl.DataFrame(found, schema_overrides=schema, infer_schema_length=None)


def tabulate(found: pl.DataFrame, by: tuple[str, ...]) -> pl.DataFrame:
    """Bias and coverage with their Monte Carlo errors; studies without a number apart."""
    true = pl.DataFrame(
        {"estimand": [RATIO, RISK, CRUDE, BY_GRADE, MEAN],
         "true": [LOG_HAZARD_RATIO, truth().risk_difference, truth().crude_risk_difference,
                  truth().crude_risk_difference, truth().crude_mean_difference]}
    )  # fmt: skip
    inside = (pl.col("low") <= pl.col("true")) & (pl.col("true") <= pl.col("high"))
    known, share = pl.col("estimate").count(), pl.col("inside").mean()
    return (
        found.join(true, on="estimand", maintain_order="left")
        .with_columns(inside=inside)
        .group_by("estimand", "method", *by, maintain_order=True)
        .agg(
            studies=pl.len(), no_number=pl.len() - known, events=pl.col("events").mean(),
            true=pl.col("true").first(), bias=(pl.col("estimate") - pl.col("true")).mean(),
            bias_error=pl.col("estimate").std() / known.sqrt(), coverage=share,
            coverage_error=(share * (1 - share) / pl.col("inside").count()).sqrt(),
        )
    )  # fmt: skip


def test_bias_and_coverage_of_what_rechecks_find(publish: Publish) -> None:
    found = over_studies()
    together = tabulate(found, ())
    publish(together, f"{len(EVENTS) * STUDIES} studies", "survival_coverage.md")
    by_events = tabulate(found, ("expected",))
    publish(by_events, f"{STUDIES} studies at each number", "survival_coverage_events.md")
    chosen = together.filter(
        pl.col("method").str.contains("the plan") & (pl.col("estimand") == RATIO)
    )
    assert len(chosen) == 2
    assert chosen.filter(pl.col("coverage") < KEPT).is_empty(), chosen
