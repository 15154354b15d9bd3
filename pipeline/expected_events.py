"""How many events each stifle was to expect from its case mix and its own follow-up."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from analysis.cox import expected_by_row, fit_cox
from analysis.cox_result import CoxFit
from analysis.design import Terms, build_design, level_text
from analysis.firth_cox import FirthCoxFit, fit_firth_cox
from schemas.codebook import Variable


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """Stifles with all of the case mix, their expected events, and how these were made.

    `frame` has the columns ``happened`` (bool) and ``expected``; `expected` is null throughout
    where no model could be fitted, and `concerns` then says why.
    """

    frame: pl.DataFrame
    method: str
    concerns: tuple[str, ...]


def expected_events(
    frame: pl.DataFrame,
    *,
    time: str,
    happened: pl.Expr,
    case_mix: Sequence[str],
    declared: dict[str, Variable],
) -> Expected:
    """Fit a Cox model without clinic and sum its hazard over each stifle's own follow-up.

    Text, true/false and coded variables enter by level, the others as numbers. A variable that
    has one value only or repeats others is left out and named in `method`. Where a term
    separates, Firth's penalised model takes its place. Observed and expected events have the
    same sum over all stifles.
    """
    usable = [name for name in case_mix if frame[name].drop_nulls().n_unique() > 1]
    left_out = [name for name in case_mix if name not in usable]
    kept = frame.drop_nulls([time, *usable]).with_columns(happened=happened)
    constant = [name for name in usable if kept[name].n_unique() < 2]
    usable = [name for name in usable if name not in constant]
    left_out += constant
    if kept.is_empty() or not kept["happened"].any():
        nothing = kept.with_columns(expected=pl.lit(None, dtype=pl.Float64))
        return Expected(frame=nothing, method=_method(usable, left_out), concerns=("no_events",))
    fit, repeated = _fit(kept, time, usable, declared)
    method = _method(usable, [*left_out, *repeated])
    if not fit.converged:
        nothing = kept.with_columns(expected=pl.lit(None, dtype=pl.Float64))
        return Expected(frame=nothing, method=method, concerns=fit.concerns)
    expected = kept.with_columns(expected=pl.Series(expected_by_row(fit)))
    penalised = ("penalised",) if isinstance(fit, FirthCoxFit) else ()
    return Expected(frame=expected, method=method, concerns=penalised)


def _fit(
    kept: pl.DataFrame, time: str, usable: Sequence[str], declared: dict[str, Variable]
) -> tuple[CoxFit | FirthCoxFit, tuple[str, ...]]:
    """Fit by maximum likelihood, without columns that repeat others; penalised if one separates."""
    by_level = [name for name in usable if _has_levels(kept[name], declared)]
    frame = kept.with_columns(level_text(kept[name]).alias(name) for name in by_level)
    terms = Terms(columns=tuple(usable), categorical=dict.fromkeys(by_level, "most_frequent"))
    design = build_design(frame, terms)
    days, events = kept[time].to_numpy(), kept["happened"].cast(pl.Int64).to_numpy()
    matrix, names = design.matrix, design.names
    fit = fit_cox(matrix, days, events, names=names, concordance=False)
    repeated = tuple(item.name for item in fit.redundant)
    if repeated:
        places = [place for place, name in enumerate(names) if name not in repeated]
        matrix, names = matrix[:, places], tuple(names[place] for place in places)
        fit = fit_cox(matrix, days, events, names=names, concordance=False)
    if fit.separated or not fit.converged:
        return fit_firth_cox(matrix, days, events, names=names, limits_for=()), repeated
    return fit, repeated


def _has_levels(values: pl.Series, declared: dict[str, Variable]) -> bool:
    variable = declared.get(values.name)
    return not values.dtype.is_numeric() or bool(variable and variable.codes)


def _method(usable: Sequence[str], left_out: Sequence[str]) -> str:
    terms = ", ".join(usable) if usable else "nothing else"
    without = f"; left out, as they tell nothing here: {', '.join(left_out)}" if left_out else ""
    return (
        f"events over those expected from a cause-specific Cox model of all clinics with {terms}, "
        f"without clinic, over each stifle's own follow-up; exact Poisson limits{without}"
    )
