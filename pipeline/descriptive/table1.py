"""Table 1: who is in each arm, and how far the arms lie apart before the outcome."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.describe import (
    QUANTILE_DEFINITION,
    Difference,
    level_counts,
    quartiles,
    standardised_difference,
    standardised_difference_of_levels,
)
from pipeline.descriptive.arms import ALL, Exposure, codes_of
from pipeline.descriptive.variables import Described, counted_once, described
from schemas.codebook import Variable
from shared.estimate import Estimate

BINARY = 2


def table_one(
    cohort: pl.DataFrame, exposures: Iterable[Exposure], codebook: tuple[Variable, ...]
) -> Iterator[Estimate]:
    """Describe all included stifles (analysis "table1"), then each exposure by arm.

    Of an exposure `e` the analysis is "table1_e", `group` the arm (or "all"), `term` the
    variable, `level` its level. `state` says whether stifles or animals are counted.
    """
    variables = described(cohort, codebook)
    yield from _column(Estimate(analysis="table1", group=ALL, measure=""), cohort, variables)
    for exposure in exposures:
        shown = tuple(item for item in variables if item.column != exposure.column)
        yield from by_arm(exposure, shown)


def by_arm(exposure: Exposure, variables: tuple[Described, ...]) -> Iterator[Estimate]:
    """Describe all stifles of an exposure, then each arm, and how far the arms lie apart."""
    base = Estimate(
        analysis=f"table1_{exposure.column}", population=exposure.population, measure=""
    )
    yield from _column(replace(base, group=ALL), exposure.frame, variables)
    for level, arm in exposure.arms():
        yield from _column(replace(base, group=level), arm, variables)
    yield from _differences(base, exposure, variables)


def _column(
    base: Estimate, frame: pl.DataFrame, variables: Iterable[Described]
) -> Iterator[Estimate]:
    """Give one column of the table: sizes, then every variable."""
    animals = frame["animal_id"].n_unique()
    clinics = frame["clinic_id"].n_unique()
    for term, count in (("stifles", len(frame)), ("animals", animals), ("clinics", clinics)):
        yield replace(base, term=term, measure="count", estimate=float(count), n=count)
    for variable in variables:
        rows = counted_once(frame, variable)
        start = replace(base, term=variable.column, state=f"{variable.per}s")
        if variable.is_quantity:
            yield from _quantity(start, rows[variable.column])
        else:
            yield from _levels(start, rows, variable)


def _quantity(base: Estimate, values: pl.Series) -> Iterator[Estimate]:
    found = quartiles(values)
    yield _missing(base, found.n_missing, len(values))
    if not found.n:
        return
    base = replace(base, n=found.n, method=QUANTILE_DEFINITION)
    yield replace(base, measure="median", estimate=found.median)
    yield replace(base, measure="quartile", level="lower", estimate=found.low)
    yield replace(base, measure="quartile", level="upper", estimate=found.high)


def _levels(base: Estimate, rows: pl.DataFrame, variable: Described) -> Iterator[Estimate]:
    text = rows.select(variable.text(rows).alias(variable.column))
    levels = codes_of(text, variable.column, variable.levels or {})
    yield _missing(base, text[variable.column].null_count(), len(rows))
    for found in level_counts(text[variable.column], levels):
        yield replace(
            base, level=found.level, measure="proportion", estimate=found.share, n=found.n,
            events=found.count,
        )  # fmt: skip


def _missing(base: Estimate, count: int, n: int) -> Estimate:
    return replace(base, level="missing", measure="count", estimate=float(count), n=n)


def _differences(
    base: Estimate, exposure: Exposure, variables: tuple[Described, ...]
) -> Iterator[Estimate]:
    """Give the standardised difference of each arm from the reference arm."""
    arms = dict(exposure.arms())
    reference = exposure.levels[0]
    for level in exposure.levels[1:]:
        for variable in variables:
            found = _difference(arms[level], arms[reference], variable)
            exists = bool(np.isfinite(found.estimate))
            yield replace(
                base, group=level, reference=reference, term=variable.column,
                state=f"{variable.per}s", measure="standardised_difference",
                estimate=found.estimate if exists else None, n=found.n + found.reference_n,
                method=_method(variable), concerns=found.concerns,
            )  # fmt: skip


def _difference(arm: pl.DataFrame, reference: pl.DataFrame, variable: Described) -> Difference:
    rows = counted_once(arm, variable), counted_once(reference, variable)
    values = rows[0][variable.column], rows[1][variable.column]
    if variable.is_quantity or values[0].dtype == pl.Boolean:
        return standardised_difference(values[0], values[1])
    return standardised_difference_of_levels(variable.text(rows[0]), variable.text(rows[1]))


def _method(variable: Described) -> str:
    if variable.is_quantity:
        return "difference of means over the root of the mean variance"
    if tuple(variable.levels or ()) == ("true", "false"):
        return "difference of proportions over the root of the mean variance"
    return "Yang and Dalton 2012, over all levels; never negative"
