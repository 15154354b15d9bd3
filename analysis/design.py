"""From a table and a list of terms to the numbers a model is fitted on."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from analysis.arrays import BoolArray, FloatArray
from analysis.spline import knots_at_quantiles, restricted_cubic_basis

MOST_FREQUENT = "most_frequent"


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What goes into a model, and how.

    Attributes
    ----------
    columns
        Columns of the table, the exposure first.
    categorical
        Reference level by column, or "most_frequent" (ties: the first by name). A Boolean
        column is categorical with reference "false" unless named here.
    levels
        Levels that are allowed, by column; each must have rows and no other may occur.
    spline
        Number of knots of a restricted cubic spline, by column.
    per
        Size of the unit of a coefficient, by column: the column is divided by it.
    """

    columns: tuple[str, ...]
    categorical: Mapping[str, str] = field(default_factory=dict[str, str])
    levels: Mapping[str, tuple[str, ...]] = field(default_factory=dict[str, tuple[str, ...]])
    spline: Mapping[str, int] = field(default_factory=dict[str, int])
    per: Mapping[str, float] = field(default_factory=dict[str, float])


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignColumn:
    """One column of a design: which term, which level against which, or which unit."""

    name: str
    term: str
    level: str | None = None
    reference: str | None = None
    unit: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """A model matrix and where each of its columns comes from.

    Attributes
    ----------
    matrix
        Shape (n_kept, p): no intercept, no centring.
    columns
        One per column of `matrix`.
    kept
        Shape (n_total,): rows without a missing value.
    dropped
        Rows left out, counted under the first variable that is missing in them.
    """

    matrix: FloatArray
    columns: tuple[DesignColumn, ...]
    kept: BoolArray
    dropped: Mapping[str, int]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns, in order."""
        return tuple(column.name for column in self.columns)

    def places(self, term: str) -> list[int]:
        """Positions of the columns of one term."""
        return [place for place, column in enumerate(self.columns) if column.term == term]


def build_design(frame: pl.DataFrame, terms: Terms, *, also: Sequence[str] = ()) -> Design:
    """Make the model matrix of some terms.

    Parameters
    ----------
    frame
        One row per unit, with the columns named by `terms` and `also`.
    terms
        What goes into the model.
    also
        Outcome, time, weight or cluster columns: a row without them is left out too.

    Raises
    ------
    ValueError
        If a column is absent, is text without a reference level, has one level only, holds a
        level that is not allowed or lacks one that is, or is not finite.
    """
    needed = tuple(dict.fromkeys((*also, *terms.columns)))
    absent = [name for name in needed if name not in frame.columns]
    if absent:
        raise ValueError(f"column {absent[0]} is not in the table")
    kept, dropped = complete_rows(frame, needed)
    complete = frame.filter(pl.Series(kept))
    if complete.is_empty():
        raise ValueError(f"no row has all of {', '.join(needed)}")
    parts = [_term(complete, name, terms) for name in terms.columns]
    matrix = np.column_stack([part for part, _ in parts]) if parts else np.empty((len(complete), 0))
    columns = tuple(column for _, described in parts for column in described)
    return Design(matrix=matrix, columns=columns, kept=kept, dropped=dropped)


def complete_rows(
    frame: pl.DataFrame, columns: Sequence[str]
) -> tuple[BoolArray, Mapping[str, int]]:
    """Say which rows have all the columns, and count the others by the first one they lack."""
    lacking: list[str | None] = [None] * len(frame)
    for name in reversed(tuple(columns)):
        for row in frame[name].is_null().arg_true():
            lacking[row] = name
    counts = Counter(name for name in lacking if name is not None)
    ordered = {name: counts[name] for name in columns if counts[name]}
    return np.array([name is None for name in lacking], dtype=bool), ordered


def level_text(values: pl.Series) -> pl.Series:
    """Write the values of a column as levels: "true" and "false", whole numbers without point."""
    if values.dtype.is_float() and (values == values.round()).all():
        values = values.cast(pl.Int64)
    return values.cast(pl.String)


def ordered_levels(values: pl.Series) -> tuple[str, ...]:
    """List the levels that occur: numbers by size, text by name."""
    return tuple(level_text(values.drop_nulls().unique().sort()).to_list())


def set_level(design: Design, term: str, level: str) -> FloatArray:
    """Give the matrix as if every row had the same level of a categorical term.

    Raises
    ------
    ValueError
        If the term is not categorical or has no such level.
    """
    places = design.places(term)
    known = {design.columns[place].level: place for place in places}
    reference = design.columns[places[0]].reference if places else None
    if reference is None or level not in {reference, *known}:
        raise ValueError(f"{term} has no level {level} in this model")
    matrix = design.matrix.copy()
    matrix[:, places] = 0.0
    if level in known:
        matrix[:, known[level]] = 1.0
    return matrix


def _term(
    frame: pl.DataFrame, name: str, terms: Terms
) -> tuple[FloatArray, tuple[DesignColumn, ...]]:
    values = frame[name]
    if name in terms.categorical or values.dtype == pl.Boolean:
        return _categorical(values, terms)
    if not values.dtype.is_numeric():
        raise ValueError(f"{name} is {values.dtype}; name its reference level in categorical")
    numbers = values.cast(pl.Float64).to_numpy()
    if not np.isfinite(numbers).all():
        raise ValueError(f"{name} must be finite")
    size = terms.per.get(name, 1.0)
    unit = f"per {size:g}" if name in terms.per else None
    if name not in terms.spline:
        return numbers[:, None] / size, (DesignColumn(name=name, term=name, unit=unit),)
    knots = knots_at_quantiles(numbers, terms.spline[name], name=name)
    basis = restricted_cubic_basis(numbers, knots) / size
    described = tuple(
        DesignColumn(name=name + "'" * order, term=name, level=f"spline {order + 1}", unit=unit)
        for order in range(basis.shape[1])
    )
    return basis, described


def _categorical(values: pl.Series, terms: Terms) -> tuple[FloatArray, tuple[DesignColumn, ...]]:
    name = values.name
    levels = _levels(values, terms.levels.get(name))
    text = level_text(values)
    reference = terms.categorical.get(name, "false")
    if reference == MOST_FREQUENT:
        counts = Counter(text.to_list())
        reference = min(levels, key=lambda level: (-counts[level], level))
    if reference not in levels:
        raise ValueError(
            f"{name} has no row with the reference level {reference}; levels: {', '.join(levels)}"
        )
    others = [level for level in levels if level != reference]
    matrix = np.column_stack([(text == level).to_numpy().astype(np.float64) for level in others])
    described = tuple(
        DesignColumn(name=f"{name}={level}", term=name, level=level, reference=reference)
        for level in others
    )
    return matrix, described


def _levels(values: pl.Series, allowed: tuple[str, ...] | None) -> tuple[str, ...]:
    present = ordered_levels(values)
    if allowed is not None:
        unknown = [level for level in present if level not in allowed]
        if unknown:
            raise ValueError(f"{values.name} holds the level {unknown[0]}, which is not allowed")
        empty = [level for level in allowed if level not in present]
        if empty:
            raise ValueError(f"{values.name} has no row with the level {empty[0]}")
    levels = present if allowed is None else allowed
    if len(levels) < 2:
        raise ValueError(f"{values.name} has one level only: {', '.join(levels)}")
    return levels
