"""Bias and coverage of estimators of a yes/no outcome with few events, pairs and five clinics.

Run by ``make bench``: minutes on two cores. 2,000 studies, 500 at each of 14, 20, 28 and 40
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

from tests.benchmarks.binary_studies import EVENTS, LOG_ODDS_RATIO, MORE_EVENTS, truth

STUDIES = int(os.environ.get("SULCA_BENCH_STUDIES", "500"))  # at each number of events
RESAMPLES = 200
KEPT = 0.93  # least coverage of what the plan picks, or the concern interval_too_narrow
Publish = Callable[[pl.DataFrame, str, str], None]
Row = dict[str, object]
TERMS = ("grade", "log_weight", "clinic_id")


def estimates_of(job: tuple[int, int]) -> list[Row]:
    """Invent one study and estimate everything; low and high are null without a number."""
    from tests.benchmarks.binary_studies import invent_study

    seed, events = job
    study = invent_study(seed, events)
    label = {"seed": seed, "expected": events, "events": int(study["outcome"].sum())}
    return [label | row for row in (*_planned(study), *_direct(study))]


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
            yield _row(*named, *(None if value is None else float(change(value))
                                 for value in (row.estimate, row.low, row.high)),
                       said=narrow)  # fmt: skip


def _direct(study: pl.DataFrame) -> Iterator[Row]:
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
    yield _row(name, "Firth, profile", firth.coefficients[1], firth.low[1], firth.high[1])
    robust = robust_firth(firth, x, y, cluster=study["animal_id"].to_numpy().astype(str))
    middle, half = float(firth.coefficients[1]), 1.959964 * float(np.sqrt(robust.covariance[1, 1]))
    yield _row(name, "Firth, robust by animal", middle, middle - half, middle + half)
    arms = set_level(design, "arm", "old"), set_level(design, "arm", "new")
    alone = standardised_risks(replace(firth, covariance=robust.covariance), *arms)
    method = "standardised, Firth, robust by animal"
    gap, ratio = alone.difference, alone.ratio
    yield _row("risk difference", method, gap.estimate, gap.low, gap.high)
    yield _row("log risk ratio", method, *np.log([ratio.estimate, ratio.low, ratio.high]))
    flic = corrected_intercept(firth, x, y)
    by_animal = robust_firth(flic, x, y, cluster=study["animal_id"].to_numpy().astype(str))
    wide = wider_risks([standardised_risks(replace(flic, covariance=item), *arms)
                        for item in (by_animal.covariance, flic.covariance)])  # fmt: skip
    method, gap, ratio = "standardised, corrected intercept, larger of both errors", (
        wide.difference), wide.ratio  # fmt: skip
    yield _row("risk difference", method, gap.estimate, gap.low, gap.high)
    yield _row("log risk ratio", method, *np.log([ratio.estimate, ratio.low, ratio.high]))
    if find_separation(x, y, design.names):
        for method in ("maximum likelihood, model-based", "maximum likelihood, profile"):
            yield _row(name, method, None, None, None)
        yield _row("risk difference", "standardised, ML, bootstrap of animals", None, None, None)
        return
    fit = fit_logistic(x, y, names=design.names)
    low, high = fit.limits()
    yield _row(name, "maximum likelihood, model-based", fit.coefficients[1], low[1], high[1])
    limits = profile_limits(x, y, "arm=new", names=design.names)
    yield _row(name, "maximum likelihood, profile", fit.coefficients[1], *limits)
    point = standardised_risks(fit, *arms)
    found = bootstrap_standardised_risks(
        point, x=x, y=y, arms=arms, cluster=study["animal_id"].to_numpy().astype(str),
        replicates=RESAMPLES, seed=1,
    ).difference  # fmt: skip
    method = "standardised, ML, bootstrap of animals"
    yield _row("risk difference", method, found.estimate, found.low, found.high)


def _row(
    estimand: str,
    method: str,
    estimate: float | None,
    low: float | None,
    high: float | None,
    *,
    said: bool = False,
) -> Row:
    values = {"estimate": estimate, "low": low, "high": high}
    named = {key: None if value is None or np.isnan(value) else float(value)
             for key, value in values.items()}  # fmt: skip
    return {"estimand": estimand, "method": method, **named, "said": said}


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
    true = pl.DataFrame(
        {"estimand": ["log odds ratio", "risk difference", "log risk ratio"],
         "true": [LOG_ODDS_RATIO, truth().risk_difference, truth().log_risk_ratio]}
    )  # fmt: skip
    both = found.join(true, on="estimand").filter(pl.col("true").is_not_null())
    inside = (pl.col("low") <= pl.col("true")) & (pl.col("true") <= pl.col("high"))
    known = pl.col("estimate").count()
    return (
        both.with_columns(inside=inside)
        .group_by("estimand", "method", *by, maintain_order=True)
        .agg(
            studies=pl.len(), no_number=pl.len() - known, events=pl.col("events").mean(),
            true=pl.col("true").first(), bias=(pl.col("estimate") - pl.col("true")).mean(),
            bias_error=pl.col("estimate").std() / known.sqrt(),
            coverage=pl.col("inside").mean(),
            coverage_error=(pl.col("inside").mean() * (1 - pl.col("inside").mean()) / known).sqrt(),
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
