"""Whether the effect of one term hangs on another: its ratio at values of the other, and tests."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from analysis.chi_square import chi_square_test
from analysis.design import Design, design_rows
from analysis.larger_errors import CautiousFit, cautious_effects, cautious_wald
from analysis.logistic import LogisticFit, fit_logistic
from analysis.terms import Term
from pipeline.analyses.fitted import concerned, row_of_test
from pipeline.analyses.logistic_data import LogisticData
from pipeline.plan import Analysis
from shared.estimate import Estimate

FEW_VALUES = 4  # a number with no more values is looked at in each, else at its quartiles
Value = str | float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """A step of the term whose effect is told: from one value to another."""

    zero: Value
    one: Value
    level: str | None
    reference: str | None
    unit: str | None


def interaction_rows(
    base: Estimate, analysis: Analysis, data: LogisticData, fit: CautiousFit
) -> list[Estimate]:
    """Give the ratios of one term at each value of the other, and the tests of their product.

    The exposure's ratios where it is one of the pair, else those of the first named. The state of
    a row names the pair, its group the value of the other term.
    """
    terms = {term.name: term for term in data.design.terms}
    rows: list[Estimate] = []
    for pair in analysis.interactions:
        own, other = pair if pair[1] != analysis.exposure else (pair[1], pair[0])
        here = replace(base, state=":".join(pair))
        for value, words in _values(terms[other], data):
            for step in _steps(terms[own], data):
                at = replace(here, group=f"{other}={words}", term=own, level=step.level,
                             reference=step.reference, unit=step.unit)  # fmt: skip
                rows.append(_ratio(at, data, fit, {other: value}, (own, step)))
        rows += _tests(here, data, fit, ":".join(pair))
    return rows


def _ratio(
    base: Estimate,
    data: LogisticData,
    fit: CautiousFit,
    fixed: dict[str, Value],
    change: tuple[str, _Step],
) -> Estimate:
    name, step = change
    one, zero = (
        design_rows(data.design, at_values(data.rows.head(1), {**fixed, name: value}))
        for value in (step.one, step.zero)
    )
    found = cautious_effects(fit, one, zero, confidence=base.confidence or 0.95)
    return replace(
        base, measure="odds_ratio_at", estimate=float(np.exp(found.estimate[0])),
        std_error=float(found.std_error[0]), low=float(np.exp(found.low[0])),
        high=float(np.exp(found.high[0])), p_value=float(found.p_value[0]),
    )  # fmt: skip


def at_values(rows: pl.DataFrame, values: dict[str, Value]) -> pl.DataFrame:
    """Set columns to one value each, in the type of the column."""
    set_to: list[pl.Series] = []
    for name, value in values.items():
        kind = rows.schema[name]
        if kind == pl.Boolean:
            column = pl.Series(name, [value == "true"] * len(rows))
        elif kind.is_numeric():
            column = pl.Series(name, [float(value)] * len(rows), dtype=pl.Float64)
        else:
            column = pl.Series(name, [str(value)] * len(rows))
        set_to.append(column)
    return rows.with_columns(set_to)


def beyond_seen(design: Design, rows: pl.DataFrame, values: Mapping[str, Value]) -> tuple[str, ...]:
    """Say that a number lies outside those of the rows that a model was made from."""
    for term in design.terms:
        if term.reference is None and term.name in values:
            seen = rows[term.name].cast(pl.Float64).to_numpy()
            if not seen.min() <= float(values[term.name]) <= seen.max():
                return ("beyond_data",)
    return ()


def _values(term: Term, data: LogisticData) -> list[tuple[Value, str]]:
    """Give the values of the other term: its levels, its few values, or its quartiles."""
    if term.reference is not None:
        levels = [term.reference, *(column.level or "" for column in term.columns)]
        return [(level, level) for level in levels]
    numbers = data.rows[term.name].filter(pl.Series(data.used > 0)).cast(pl.Float64)
    few = numbers.unique().sort().to_list()
    if len(few) > FEW_VALUES:
        few = sorted(set(np.quantile(numbers.to_numpy(), (0.25, 0.5, 0.75)).tolist()))
    return [(value, f"{value:g}") for value in few]


def _steps(term: Term, data: LogisticData) -> list[_Step]:
    """Give each level against the reference, or one unit of a number."""
    if term.reference is not None:
        return [
            _Step(zero=term.reference, one=column.level or "", level=column.level,
                  reference=term.reference, unit=None)
            for column in term.columns
        ]  # fmt: skip
    middle = float(np.median(data.rows[term.name].cast(pl.Float64).to_numpy()))
    further = middle + term.size if term.base is None else middle * term.base
    unit = term.columns[0].unit
    return [_Step(zero=middle, one=further, level=None, reference=None, unit=unit)]


def _tests(base: Estimate, data: LogisticData, found: CautiousFit, name: str) -> list[Estimate]:
    """Test all columns of a product: Wald, and by likelihood where there is one."""
    places = data.design.places(name)
    behind = [place + 1 for place in places]
    fit = found.fit
    wald = cautious_wald(fit.coefficients, found.covariances, behind)
    rows = row_of_test(base, "interaction_wald", wald, level=name)
    if not isinstance(fit, LogisticFit) or data.weights is not None:
        return rows
    without = fit_logistic(np.delete(data.design.matrix, places, axis=1), data.outcome)
    drop = 2 * (fit.log_likelihood - without.log_likelihood)
    alone = ("clusters_ignored",) if _has_clusters(data) else ()
    return rows + row_of_test(
        concerned(base, alone), "interaction_likelihood_ratio",
        chi_square_test(drop, len(places)), level=name,
    )  # fmt: skip


def _has_clusters(data: LogisticData) -> bool:
    return data.cluster is not None and len(np.unique(data.cluster)) < len(data.cluster)
