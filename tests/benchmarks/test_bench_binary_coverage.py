"""Bias and coverage of estimators of a yes/no outcome with few events, pairs and five clinics.

Run by ``make bench``: six minutes on two cores. 2,000 studies, 500 at each of 14, 20, 28 and 40
expected events, and 500 of 60 beside them; exposure, grade, log weight and clinic as terms (7
parameters), pairs of knees clustered by animal. The plan's own choice is taken from a plan as a
user runs it.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
import polars as pl

from tests.benchmarks.binary_methods import Row, fitted_rows, no_fit_rows, row_of, table_rows
from tests.benchmarks.binary_studies import EVENTS, MORE_EVENTS
from tests.benchmarks.binary_truths import true_values

STUDIES = int(os.environ.get("SULCA_BENCH_STUDIES", "500"))  # at each number of events
FEWER = min(STUDIES, 50)  # of these, for what takes long; none of the studies of more events
RESAMPLES = 200
KEPT = 0.93  # least coverage of what the plan picks, or the concern interval_too_narrow
Publish = Callable[[pl.DataFrame, str, str], None]
TERMS = ("grade", "log_weight", "clinic_id")


def estimates_of(job: tuple[int, int]) -> list[Row]:
    """Invent one study and estimate everything; low and high are null without a number."""
    from tests.benchmarks.binary_studies import invent_study

    seed, events = job
    study = invent_study(seed, events)
    label = {"seed": seed, "expected": events, "events": int(study["outcome"].sum())}
    dear = seed <= FEWER and events != MORE_EVENTS
    found = (*_planned(study), *_direct(study, dear=dear), *table_rows(study))
    return [label | row for row in found]


def _planned(study: pl.DataFrame) -> Iterator[Row]:
    """What a plan gives: adjusted odds ratios, standardised contrasts, crude difference."""
    from pipeline.analyses.run import run_analysis
    from pipeline.plan import parse_analysis

    base = {"id": "x", "outcome": "outcome", "exposure": "arm", "levels": ["old", "new"],
            "cluster": "animal_id"}  # fmt: skip
    model = {**base, "model": "logistic", "adjust_for": list(TERMS),
             "categorical": {"clinic_id": "harbour"},
             "adjustments": ["adjusted", "standardised"], "resamples": 0}  # fmt: skip
    rows = [*run_analysis(study, parse_analysis(model)).rows,
            *run_analysis(study, parse_analysis({**base, "model": "risks"})).rows]  # fmt: skip
    wanted = {
        ("firth_logistic", "odds_ratio"): (
            "log odds ratio",
            "Firth, larger of both errors (the plan)",
        ),
        ("logistic", "odds_ratio"): ("log odds ratio", "maximum likelihood, robust by animal"),
        ("firth_logistic", "risk_difference"): ("risk difference", "standardised (the plan)"),
        ("firth_logistic", "risk_ratio"): ("log risk ratio", "standardised (the plan)"),
    }
    for row in rows:
        named = wanted.get((row.model or "", row.measure))
        if named and row.term == "arm" and row.level == "new":
            narrow = "interval_too_narrow" in row.concerns
            change = np.log if named[0].startswith("log") else float
            yield row_of(*named, *(None if value is None else float(change(value))
                                 for value in (row.estimate, row.low, row.high)),
                       said=narrow)  # fmt: skip


def _direct(study: pl.DataFrame, *, dear: bool) -> Iterator[Row]:
    """Textbook intervals that a plan does not choose, beside them."""
    from analysis.design import Terms, build_design, set_level
    from analysis.firth import fit_firth
    from analysis.intercept_correction import corrected_intercept
    from analysis.larger_errors import wider_risks
    from analysis.logistic import fit_logistic
    from analysis.logistic_profile import profile_limits
    from analysis.penalised_variance import robust_firth
    from analysis.separation import find_separation
    from analysis.standardise import standardised_risks
    from analysis.standardise_bootstrap import bootstrap_standardised_risks

    terms = Terms(columns=("arm", *TERMS), categorical={"arm": "old", "clinic_id": "harbour"})
    design = build_design(study, terms)
    x, y = design.matrix, study["outcome"].cast(pl.Float64).to_numpy()
    firth = fit_firth(x, y, names=design.names, limits_for=("arm=new",))
    name = "log odds ratio"
    yield row_of(name, "Firth, profile", firth.coefficients[1], firth.low[1], firth.high[1])
    robust = robust_firth(firth, x, y, cluster=study["animal_id"].to_numpy().astype(str))
    middle, half = float(firth.coefficients[1]), 1.959964 * float(np.sqrt(robust.covariance[1, 1]))
    yield row_of(name, "Firth, robust by animal", middle, middle - half, middle + half)
    arms = set_level(design, "arm", "old"), set_level(design, "arm", "new")
    alone = standardised_risks(replace(firth, covariance=robust.covariance), *arms)
    method = "standardised, Firth, robust by animal"
    gap, ratio = alone.difference, alone.ratio
    yield row_of("risk difference", method, gap.estimate, gap.low, gap.high)
    yield row_of("log risk ratio", method, *np.log([ratio.estimate, ratio.low, ratio.high]))
    flic = corrected_intercept(firth, x, y)
    by_animal = robust_firth(flic, x, y, cluster=study["animal_id"].to_numpy().astype(str))
    wide = wider_risks([standardised_risks(replace(flic, covariance=item), *arms)
                        for item in (by_animal.covariance, flic.covariance)])  # fmt: skip
    method, gap, ratio = "standardised, corrected intercept, larger of both errors", (
        wide.difference), wide.ratio  # fmt: skip
    yield row_of("risk difference", method, gap.estimate, gap.low, gap.high)
    yield row_of("log risk ratio", method, *np.log([ratio.estimate, ratio.low, ratio.high]))
    if find_separation(x, y, design.names):
        for method in ("maximum likelihood, model-based", "maximum likelihood, profile"):
            yield row_of(name, method, None, None, None)
        yield row_of("risk difference", "standardised, ML, bootstrap of animals", None, None, None)
        yield from no_fit_rows(dear=dear)
        return
    fit = fit_logistic(x, y, names=design.names)
    yield from fitted_rows(fit, x, y, study, dear=dear)
    low, high = fit.limits()
    yield row_of(name, "maximum likelihood, model-based", fit.coefficients[1], low[1], high[1])
    limits = profile_limits(x, y, "arm=new", names=design.names)
    yield row_of(name, "maximum likelihood, profile", fit.coefficients[1], *limits)
    point = standardised_risks(fit, *arms)
    found = bootstrap_standardised_risks(
        point, x=x, y=y, arms=arms, cluster=study["animal_id"].to_numpy().astype(str),
        replicates=RESAMPLES, seed=1,
    ).difference  # fmt: skip
    method = "standardised, ML, bootstrap of animals"
    yield row_of("risk difference", method, found.estimate, found.low, found.high)


def over_studies() -> pl.DataFrame:
    """Estimates of all studies, from two processes of one thread each."""
    os.environ["POLARS_MAX_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    jobs = [(seed, events) for events in (*EVENTS, MORE_EVENTS) for seed in range(1, STUDIES + 1)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = [row for rows in pool.map(estimates_of, jobs, chunksize=25) for row in rows]
    schema = {"estimate": pl.Float64, "low": pl.Float64, "high": pl.Float64}
    return pl.DataFrame(found, schema_overrides=schema, infer_schema_length=None)


def tabulate(found: pl.DataFrame, by: tuple[str, ...]) -> pl.DataFrame:
    """Bias, spread and coverage with their Monte Carlo errors; studies without a number apart."""
    true = pl.DataFrame({"estimand": list(true_values()), "true": list(true_values().values())})
    both = found.join(true, on="estimand", validate="m:1")
    inside = (pl.col("low") <= pl.col("true")) & (pl.col("true") <= pl.col("high"))
    known, limited = pl.col("estimate").count(), pl.col("inside").count()
    unbounded = pl.col("low").is_infinite() | pl.col("high").is_infinite()
    share = pl.col("inside").mean()
    return (
        both.with_columns(inside=inside)
        .group_by("estimand", "method", *by, maintain_order=True)
        .agg(
            studies=pl.len(), no_number=pl.len() - known, events=pl.col("events").mean(),
            true=pl.col("true").first(), bias=(pl.col("estimate") - pl.col("true")).mean(),
            bias_error=pl.col("estimate").std() / known.sqrt(), coverage=share,
            coverage_error=(share * (1 - share) / limited).sqrt(),
            width=(pl.col("high") - pl.col("low")).median(), unbounded=unbounded.mean(),
            warned=pl.col("said").mean(),
        )
    )  # fmt: skip


def test_bias_and_coverage_with_few_events(publish: Publish) -> None:
    found = over_studies()
    asked = found.filter(pl.col("expected") != MORE_EVENTS)
    publish(tabulate(asked, ()), f"{len(EVENTS) * STUDIES} studies", "binary_coverage.md")
    by_events = tabulate(found, ("expected",))
    publish(by_events, f"{STUDIES} studies at each number of events", "binary_coverage_events.md")
    chosen = by_events.filter(pl.col("method").str.contains("the plan"))
    assert len(chosen) == 3 * (len(EVENTS) + 1)
    short = chosen.filter((pl.col("coverage") < KEPT) & (pl.col("warned") < 0.5))
    assert short.is_empty(), short
