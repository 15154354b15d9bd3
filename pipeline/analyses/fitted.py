"""What every model of a plan hands back, and the small steps all of them share."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.arrays import FloatArray
from analysis.chi_square import Test
from analysis.design import Design, Terms, build_design, level_text
from analysis.rank import Redundant
from analysis.two_proportions import Contrast
from pipeline.analyses.selection import EVENT, OUTCOME, Selection, population_label
from pipeline.plan import Analysis
from shared.estimate import Estimate

TextArray = npt.NDArray[np.str_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """Rows for the results table and points of curves (columns of ``curves.CURVE_SCHEMA``)."""

    rows: tuple[Estimate, ...]
    curves: pl.DataFrame


def finite(value: float | None) -> float | None:
    """Give a number, or None where there is none: the results table has no NaN and no infinity."""
    return float(value) if value is not None and np.isfinite(value) else None


def base_row(analysis: Analysis, selection: Selection, *, model: str | None = None) -> Estimate:
    """Start a row with what all rows of an analysis have in common."""
    concerns = ("held_rows",) if selection.n_held else ()
    return Estimate(
        analysis=analysis.id, role=analysis.role, model=model or analysis.model,
        outcome=analysis.outcome_name, definition=analysis.definition or _definition(analysis),
        population=population_label(analysis), measure="", confidence=analysis.confidence,
        concerns=concerns,
    )  # fmt: skip


def concerned(row: Estimate, concerns: Iterable[str]) -> Estimate:
    """Add concerns to a row, each once."""
    return replace(row, concerns=tuple(dict.fromkeys((*row.concerns, *concerns))))


def row_of_test(
    base: Estimate, name: str, test: Test, *, level: str | None = None
) -> list[Estimate]:
    """Make the row of a chi-square test; none where the test is not defined."""
    if not np.isfinite(test.statistic):
        return []
    return [
        replace(
            base, measure="test", term=name, level=level, confidence=None,
            statistic=test.statistic, df=float(test.df), p_value=test.p_value,
        )
    ]  # fmt: skip


def number_row(base: Estimate, measure: str, value: float) -> list[Estimate]:
    """Make a row of one number without limits; none where it is not defined."""
    if not np.isfinite(value):
        return []
    return [replace(base, measure=measure, estimate=float(value), confidence=None)]


def contrast_row(base: Estimate, contrast: Contrast) -> Estimate:
    """Make the row of a contrast; a contrast that is not defined has no number."""
    row = replace(
        base,
        measure=contrast.measure, estimate=finite(contrast.estimate),
        std_error=finite(contrast.std_error), low=finite(contrast.low), high=finite(contrast.high),
        method=contrast.method,
    )  # fmt: skip
    return concerned(row, contrast.concerns)


def naming(base: Estimate, redundant: Iterable[Redundant]) -> Estimate:
    """Name in the method the columns that keep a model from a fit: constant, or repeated."""
    return replace(
        base, method="; ".join([base.method or "", *(it.in_words() for it in redundant)])
    )


def naming_separated(base: Estimate, separated: tuple[str, ...]) -> Estimate:
    """Name in the method the columns, with their level, that tell outcomes apart."""
    if not separated:
        return base
    told = f"no finite estimate of {', '.join(separated)}, which tells outcomes apart"
    return replace(base, method="; ".join([base.method or "", told]))


def count_rows(base: Estimate, selection: Selection, dropped: Mapping[str, int]) -> list[Estimate]:
    """Say how many rows there were and how many were left out, under which name."""
    counts = [("rows", None, selection.n_population), ("held", None, selection.n_held)]
    counts.append(("other_levels", None, selection.n_other_levels))
    named = {EVENT: selection.source, OUTCOME: selection.source}
    counts += [("missing", named.get(name, name), count) for name, count in dropped.items()]
    return [
        replace(base, measure="count", term=term, level=level, estimate=float(count),
                n=count, confidence=None, concerns=())
        for term, level, count in counts
    ]  # fmt: skip


def make_design(
    selection: Selection, analysis: Analysis, columns: tuple[str, ...], *, also: tuple[str, ...]
) -> tuple[Design, pl.DataFrame]:
    """Build the design of some columns; give it with the rows it kept."""
    terms = Terms(
        columns=columns,
        categorical={name: analysis.categorical[name] for name in analysis.categorical},
        levels={analysis.exposure: analysis.levels}
        if analysis.exposure and analysis.levels else {},
        spline=analysis.spline, per=analysis.per, log=analysis.log, centre=analysis.centre,
        interactions=tuple(pair for pair in analysis.interactions if set(pair) <= set(columns)),
    )  # fmt: skip
    design = build_design(selection.frame, terms, also=also)
    return design, selection.frame.filter(pl.Series(design.kept))


def design_version(
    selection: Selection, analysis: Analysis, adjustment: str, *, also: tuple[str, ...]
) -> tuple[Estimate, Design, pl.DataFrame]:
    """Start the crude or adjusted version of a regression: its row, its design, the rows kept."""
    crude = adjustment == "crude" and analysis.exposure is not None
    columns = (analysis.exposure or "",) if crude else analysis.terms
    design, kept = make_design(selection, analysis, columns, also=also)
    return replace(base_row(analysis, selection), adjustment=adjustment), design, kept


def stratum_labels(frame: pl.DataFrame, columns: tuple[str, ...]) -> TextArray | None:
    """Give one label a row that names its stratum, or None without strata."""
    if not columns:
        return None
    texts = pl.DataFrame([level_text(frame[name]).alias(name) for name in columns])
    return (
        texts.select(pl.concat_str(pl.all(), separator="\x1f")).to_series().to_numpy().astype(str)
    )


def optional_labels(frame: pl.DataFrame, column: str | None) -> TextArray | None:
    """Give the labels of a column as text, or None without a column."""
    return None if column is None else labels_of(frame, column)


def labels_of(frame: pl.DataFrame, column: str | None) -> TextArray:
    """Give the labels of a column of the plan as text."""
    return level_text(frame[column or ""]).to_numpy().astype(str)


def optional_numbers(frame: pl.DataFrame, column: str | None) -> FloatArray | None:
    """Give a column as floats, or None without a column."""
    return None if column is None else numbers_of(frame, column)


def numbers_of(frame: pl.DataFrame, column: str | None) -> FloatArray:
    """Give a column of the plan as floats."""
    return frame[column or ""].cast(pl.Float64).to_numpy()


def happened(frame: pl.DataFrame, cause: int) -> FloatArray:
    """Say with 1 which rows had one of the coded events, with 0 which did not."""
    return (frame[EVENT] == cause).to_numpy().astype(np.float64)


def ignores_clusters(frame: pl.DataFrame, analysis: Analysis) -> tuple[str, ...]:
    """Give the concern of a method that takes rows of one animal as independent."""
    column = analysis.cluster or "animal_id"
    if column not in frame.columns or frame[column].n_unique() == len(frame):
        return ()
    return ("clusters_ignored",)


def _definition(analysis: Analysis) -> str | None:
    if analysis.time is None:
        return None
    return f"{analysis.event} at {analysis.time}"
