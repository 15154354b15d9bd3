"""Clinics against what their case mix and follow-up let expect; never a ranking."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from analysis.benchmark import funnel_limits, observed_expected, overdispersion
from analysis.chi_square import Test
from analysis.proportions import design_effect, wilson
from pipeline.analyses.curves import CURVE_SCHEMA
from pipeline.descriptive.arms import included
from pipeline.expected_events import Expected, expected_events
from pipeline.study import Study
from schemas.codebook import Variable, by_name, read_codebook
from shared.errors import PlanError, nearest
from shared.estimate import Estimate, results_frame

ANALYSIS = "clinic_comparison"
LEVELS = (0.95, 0.998)
FEWEST_STIFLES = 10
FEWEST_EXPECTED = 1.0
COMPLETE_BY = "adequate_183"
LIKELY_OVERDISPERSED = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared:
    """Rows of the results table, and the limits of the funnels.

    `curves` has the columns of all curves; a funnel (`curve` is "funnel_95" or "funnel_99.8") has
    the expected number of events in `day`, the target 1 in `estimate`, its limits in `low` and
    `high`.
    """

    results: pl.DataFrame
    curves: pl.DataFrame


def compare(cohort: pl.DataFrame, study: Study) -> Compared:
    """Compare the clinics of a cohort for each outcome that the study names.

    Parameters
    ----------
    cohort
        The analysis table, a row per stifle; those that left the protocol are not compared.
    study
        Its `comparison` names outcomes ("relux": the columns relux_day and relux_state) and the
        case mix.

    Returns
    -------
    Compared
        Per outcome and clinic: observed and expected events, their ratio with exact Poisson
        limits, and the share with an adequate recheck in days 92 to 183. A clinic with fewer than
        10 stifles or fewer than 1 expected event gets no ratio, with the concern too_few.

    Raises
    ------
    PlanError
        If an outcome or a variable of the case mix is no column of the cohort.
    """
    declared = by_name(read_codebook(study.folder))
    stifles = included(cohort)
    rows: list[Estimate] = []
    curves: list[pl.DataFrame] = []
    for outcome in study.comparison.outcomes:
        _known(cohort, (f"{outcome}_day", f"{outcome}_state"), "[comparison] outcomes")
        _known(cohort, study.comparison.case_mix, "[comparison] case_mix")
        found, funnel = _compare_outcome(stifles, outcome, study, declared)
        rows += found
        curves.append(funnel)
    return Compared(
        results=results_frame(rows), curves=pl.concat([_no_points(), *curves], how="vertical")
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Clinic:
    """One clinic's stifles of one comparison."""

    name: str
    stifles: pl.DataFrame  # at risk, with all of the case mix
    at_risk: pl.DataFrame  # the same, before rows without the case mix left

    @property
    def observed(self) -> int:
        return int(self.stifles["happened"].sum())

    @property
    def expected(self) -> float | None:
        known = self.stifles["expected"].drop_nulls()
        return float(known.sum()) if len(known) else None


def _compare_outcome(
    stifles: pl.DataFrame, outcome: str, study: Study, declared: dict[str, Variable]
) -> tuple[list[Estimate], pl.DataFrame]:
    state = f"{outcome}_state"
    event = next(iter(declared[state].codes)) if state in declared else outcome
    at_risk = stifles.drop_nulls([f"{outcome}_day", state])
    model = expected_events(
        at_risk, time=f"{outcome}_day", happened=pl.col(state) == event,
        case_mix=study.comparison.case_mix, declared=declared,
    )  # fmt: skip
    clinics = tuple(_clinics(at_risk, model))
    alone = len(clinics) < 2
    shown = [] if alone else [clinic for clinic in clinics if _enough(clinic)]
    spread = _spread(shown)
    doubts = (*model.concerns, *(("not_identified",) if alone else ()))
    if spread is not None and spread.p_value < LIKELY_OVERDISPERSED:
        doubts = (*doubts, "overdispersed")
    base = Estimate(
        analysis=ANALYSIS, role="secondary", model="observed_expected", outcome=state, state=event,
        adjustment="adjusted", measure="standardised_ratio", method=model.method,
    )  # fmt: skip
    rows = [row for clinic in clinics for row in _rows(base, clinic, doubts, shown=clinic in shown)]
    if spread is not None:
        rows.append(
            replace(
                base, measure="test", term="overdispersion", statistic=spread.statistic,
                df=float(spread.df), p_value=spread.p_value, n=len(shown),
                method="sum over clinics of 4 (root of observed - root of expected)^2",
                concerns=tuple(code for code in doubts if code == "overdispersed"),
            )
        )  # fmt: skip
    return rows, _funnel(base, shown)


def _clinics(at_risk: pl.DataFrame, model: Expected) -> Iterator[_Clinic]:
    """Give each clinic's part, in order of the code."""
    for name in at_risk["clinic_id"].unique().sort().to_list():
        own = pl.col("clinic_id") == name
        yield _Clinic(name=name, stifles=model.frame.filter(own), at_risk=at_risk.filter(own))


def _enough(clinic: _Clinic) -> bool:
    expected = clinic.expected
    return (
        len(clinic.stifles) >= FEWEST_STIFLES
        and expected is not None
        and expected >= FEWEST_EXPECTED
    )


def _spread(shown: list[_Clinic]) -> Test | None:
    """Test whether clinics differ more than chance; None with fewer than two."""
    if len(shown) < 2:
        return None
    expected = np.array([clinic.expected for clinic in shown], dtype=np.float64)
    observed = np.array([clinic.observed for clinic in shown], dtype=np.float64)
    return overdispersion(np.sqrt(observed / expected), 0.5 / np.sqrt(expected), 1.0).test


def _rows(
    base: Estimate, clinic: _Clinic, doubts: tuple[str, ...], *, shown: bool
) -> list[Estimate]:
    """Ratio, both counts, and recheck completeness of one clinic."""
    stifles, animals = len(clinic.stifles), clinic.stifles["animal_id"].n_unique()
    several = ("clusters_ignored",) if animals < stifles else ()
    own = replace(
        base, group=clinic.name, n=stifles, clusters=animals,
        n_dropped=len(clinic.at_risk) - stifles,
    )  # fmt: skip
    ratio = replace(own, events=clinic.observed, concerns=(*doubts, "too_few"))
    expected = clinic.expected
    if shown and expected is not None:
        found = observed_expected(clinic.observed, expected)
        ratio = replace(
            ratio, estimate=found.ratio, low=found.low, high=found.high,
            confidence=found.confidence, concerns=(*doubts, *several),
        )  # fmt: skip
    elif not _too_few(clinic):
        ratio = replace(ratio, concerns=doubts)
    counts = [
        replace(own, measure="count", term=term, estimate=value, method=method)
        for term, value, method in (
            ("observed", float(clinic.observed), "events seen"),
            ("expected", expected, base.method),
        )
        if value is not None
    ]
    return [ratio, *counts, _completeness(own, clinic.at_risk)]


def _too_few(clinic: _Clinic) -> bool:
    expected = clinic.expected
    return len(clinic.stifles) < FEWEST_STIFLES or (
        expected is not None and expected < FEWEST_EXPECTED
    )


def _completeness(own: Estimate, at_risk: pl.DataFrame) -> Estimate:
    """Give the share with an adequate recheck in days 92 to 183, of those operated by then."""
    due = at_risk.filter(pl.col("admin_end_day") >= 183)
    seen = due[COMPLETE_BY].fill_null(value=False).cast(pl.Int64)
    effect = design_effect(seen.to_numpy(), due["animal_id"].to_numpy()) if len(due) else 1.0
    found = wilson(int(seen.sum()), len(due), design_effect=effect)
    return replace(
        own, measure="proportion", term=COMPLETE_BY, day=183.0, adjustment="crude",
        estimate=found.estimate if len(due) else None, low=found.low if len(due) else None,
        high=found.high if len(due) else None, confidence=found.confidence,
        n=len(due), n_dropped=len(at_risk) - len(due), events=int(seen.sum()),
        clusters=due["animal_id"].n_unique(),
        method="share of stifles, at risk and operated at least 183 days before the data lock, "
        "with an adequate recheck in days 92 to 183; Wilson limits, design effect of animals",
        concerns=("too_few",) if len(due) < FEWEST_STIFLES else (),
    )  # fmt: skip


def _funnel(base: Estimate, shown: list[_Clinic]) -> pl.DataFrame:
    """Limits between which clinics fall by chance, for expected numbers up to the largest."""
    largest = max((clinic.expected or 0.0 for clinic in shown), default=0.0)
    if not largest:
        return _no_points()
    grid = np.linspace(FEWEST_EXPECTED, max(1.15 * largest, 2.0), 120)
    parts: list[pl.DataFrame] = []
    for level in LEVELS:
        limits = np.array([funnel_limits(float(value), level=level) for value in grid])
        points = pl.DataFrame({"day": grid, "low": limits[:, 0], "high": limits[:, 1]})
        named = points.with_columns(
            analysis=pl.lit(base.analysis), curve=pl.lit(f"funnel_{100 * level:g}"),
            outcome=pl.lit(base.outcome), state=pl.lit(base.state), estimate=pl.lit(1.0),
        )  # fmt: skip
        parts.append(pl.concat([_no_points(), named], how="diagonal"))
    return pl.concat(parts)


def _no_points() -> pl.DataFrame:
    return pl.DataFrame(schema=CURVE_SCHEMA)


def _known(cohort: pl.DataFrame, columns: tuple[str, ...], place: str) -> None:
    absent = [name for name in columns if name not in cohort.columns]
    if absent:
        raise PlanError(
            f"study.toml {place}", f'the cohort has no column "{absent[0]}"',
            do=nearest(absent[0], cohort.columns),
        )  # fmt: skip
