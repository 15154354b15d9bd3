"""From a table and a list of terms to the numbers a model is fitted on."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from analysis.arrays import BoolArray, FloatArray
from analysis.spline import knots_at_quantiles
from analysis.terms import (
    MOST_FREQUENT,
    DesignColumn,
    Term,
    categorical_term,
    level_text,
    ordered_levels,
    product_columns,
    transformed,
)

__all__ = [
    "MOST_FREQUENT", "Design", "DesignColumn", "Terms", "build_design", "complete_rows",
    "design_rows", "level_text", "narrowed", "ordered_levels", "set_level",
]  # fmt: skip


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
    log
        Base of the logarithm that is taken, by column: 2 gives a ratio per doubling.
    centre
        Value that is taken off first, by column.
    interactions
        Pairs of columns whose products are terms too; both stand in `columns`.
    """

    columns: tuple[str, ...]
    categorical: Mapping[str, str] = field(default_factory=dict[str, str])
    levels: Mapping[str, tuple[str, ...]] = field(default_factory=dict[str, tuple[str, ...]])
    spline: Mapping[str, int] = field(default_factory=dict[str, int])
    per: Mapping[str, float] = field(default_factory=dict[str, float])
    log: Mapping[str, float] = field(default_factory=dict[str, float])
    centre: Mapping[str, float] = field(default_factory=dict[str, float])
    interactions: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """A model matrix and where each of its columns comes from.

    Attributes
    ----------
    matrix
        Shape (n_kept, p): no intercept, centred only where asked.
    columns
        One per column of `matrix`.
    kept
        Shape (n_total,): rows without a missing value.
    dropped
        Rows left out, counted under the first variable that is missing in them.
    terms
        How each term is made, for rows that come later.
    """

    matrix: FloatArray
    columns: tuple[DesignColumn, ...]
    kept: BoolArray
    dropped: Mapping[str, int]
    terms: tuple[Term, ...] = ()

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
    made = {name: _term(complete, name, terms) for name in terms.columns}
    columns = tuple(column for term in made.values() for column in term.columns)
    for first, second in terms.interactions:
        columns += product_columns(made[first], made[second])
    design = Design(
        matrix=np.empty((len(complete), 0)), columns=columns, kept=kept, dropped=dropped,
        terms=tuple(made.values()),
    )  # fmt: skip
    return replace(design, matrix=design_rows(design, complete))


def design_rows(design: Design, frame: pl.DataFrame) -> FloatArray:
    """Give the matrix of other rows, made as the design was: same levels, knots, units, centres.

    Raises
    ------
    ValueError
        If a level was not there when the model was made, or a number cannot be taken.
    """
    parts = [term.matrix(frame[term.name]) for term in design.terms]
    plain = np.column_stack(parts) if parts else np.empty((len(frame), 0))
    products = np.empty((len(frame), len(design.columns) - plain.shape[1]))
    return _with_products(design, np.column_stack([plain, products]))


def narrowed(design: Design, columns: Sequence[str]) -> Design:
    """Keep some terms, and the interactions among them."""
    places = [
        place
        for place, column in enumerate(design.columns)
        if set(column.term.split(":") if column.of else [column.term]) <= set(columns)
    ]
    return replace(
        design, matrix=design.matrix[:, places],
        columns=tuple(design.columns[place] for place in places),
        terms=tuple(term for term in design.terms if term.name in columns),
    )  # fmt: skip


def _with_products(design: Design, matrix: FloatArray) -> FloatArray:
    """Work out the columns of interactions, in place, from the columns they are made of."""
    names = design.names
    for place, column in enumerate(design.columns):
        if column.of is not None:
            one, two = (names.index(name) for name in column.of)
            matrix[:, place] = matrix[:, one] * matrix[:, two]
    return matrix


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
    return _with_products(design, matrix)


def _term(frame: pl.DataFrame, name: str, terms: Terms) -> Term:
    values = frame[name]
    if name in terms.categorical or values.dtype == pl.Boolean:
        return categorical_term(
            values, reference=terms.categorical.get(name, "false"), allowed=terms.levels.get(name)
        )
    if not values.dtype.is_numeric():
        raise ValueError(f"{name} is {values.dtype}; name its reference level in categorical")
    base, centre = terms.log.get(name), terms.centre.get(name, 0.0)
    numbers = transformed(values, base=base, centre=centre)
    size = terms.per.get(name, 1.0)
    unit = f"per {size:g}" if name in terms.per else None
    if base is not None:
        unit = "per doubling" if base == 2 else f"per factor {base:g}"
    knots = ()
    if name in terms.spline:
        knots = tuple(knots_at_quantiles(numbers, terms.spline[name], name=name).tolist())
    columns = tuple(
        DesignColumn(name=name + "'" * order, term=name, unit=unit,
                     level=f"spline {order + 1}" if knots else None)
        for order in range(max(1, len(knots) - 1))
    )  # fmt: skip
    return Term(name=name, columns=columns, knots=knots, size=size, base=base, centre=centre)
