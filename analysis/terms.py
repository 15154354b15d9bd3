"""How one column of a table becomes numbers of a model, the same way for rows that come later."""

from collections import Counter
from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.spline import restricted_cubic_basis

MOST_FREQUENT = "most_frequent"


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignColumn:
    """One column of a design: which term, which level against which, or which unit.

    `of` names the two columns whose product it is, for an interaction.
    """

    name: str
    term: str
    level: str | None = None
    reference: str | None = None
    unit: str | None = None
    of: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """A term with all that was settled when the model was made: levels, knots, unit, centre."""

    name: str
    columns: tuple[DesignColumn, ...]
    reference: str | None = None  # of a categorical term
    knots: tuple[float, ...] = ()
    size: float = 1.0
    base: float | None = None  # of the logarithm
    centre: float = 0.0

    def matrix(self, values: pl.Series) -> FloatArray:
        """Give the columns of the term for some rows, shape (n, columns of the term).

        Raises
        ------
        ValueError
            If a level was not there when the model was made, or a number cannot be taken.
        """
        if self.reference is not None:
            return self._indicators(values)
        numbers = self._numbers(values)
        if not self.knots:
            return numbers[:, None] / self.size
        return restricted_cubic_basis(numbers, np.asarray(self.knots)) / self.size

    def _indicators(self, values: pl.Series) -> FloatArray:
        text = level_text(values)
        levels = [column.level for column in self.columns]
        strange = text.filter(~text.is_in([*levels, self.reference]))
        if len(strange):
            raise ValueError(f"{self.name} has no level {strange[0]} in this model")
        return np.column_stack([(text == level).to_numpy().astype(np.float64) for level in levels])

    def _numbers(self, values: pl.Series) -> FloatArray:
        return transformed(values, base=self.base, centre=self.centre)


def transformed(values: pl.Series, *, base: float | None, centre: float) -> FloatArray:
    """Take the logarithm to a base, where there is one, and what lies beyond the centre.

    With a logarithm the centre, in the units of the column, is where the result is 0; without
    one given it is 1.
    """
    name = values.name
    numbers = values.cast(pl.Float64).to_numpy()
    if not np.isfinite(numbers).all():
        raise ValueError(f"{name} must be finite")
    if base is None:
        return numbers - centre
    if base <= 1:
        raise ValueError(f"log of {name}: the base must be above 1, got {base:g}")
    if (numbers <= 0).any() or centre < 0:
        raise ValueError(f"log of {name}: it must be above 0 in every row")
    return np.asarray(np.log(numbers / (centre or 1.0)) / np.log(base), dtype=np.float64)


def categorical_term(
    values: pl.Series, *, reference: str, allowed: tuple[str, ...] | None = None
) -> Term:
    """Settle the levels of a term; `reference` may be "most_frequent" (ties: the first by name).

    Raises
    ------
    ValueError
        If there is one level only, the reference has no row, or a level is not `allowed` or lacks.
    """
    name = values.name
    levels = _levels(values, allowed)
    if reference == MOST_FREQUENT:
        counts = Counter(level_text(values).to_list())
        reference = min(levels, key=lambda level: (-counts[level], level))
    if reference not in levels:
        raise ValueError(
            f"{name} has no row with the reference level {reference}; levels: {', '.join(levels)}"
        )
    columns = tuple(
        DesignColumn(name=f"{name}={level}", term=name, level=level, reference=reference)
        for level in levels
        if level != reference
    )
    return Term(name=name, columns=columns, reference=reference)


def product_columns(first: Term, second: Term) -> tuple[DesignColumn, ...]:
    """Describe the columns of an interaction: every column of one times every one of the other."""
    return tuple(
        DesignColumn(
            name=f"{one.name}:{two.name}", term=f"{first.name}:{second.name}",
            level=_joined(one.level, two.level), unit=_joined(one.unit, two.unit),
            of=(one.name, two.name),
        )
        for one in first.columns
        for two in second.columns
    )  # fmt: skip


def level_text(values: pl.Series) -> pl.Series:
    """Write the values of a column as levels: "true" and "false", whole numbers without point."""
    if values.dtype.is_float() and (values == values.round()).all():
        values = values.cast(pl.Int64)
    return values.cast(pl.String)


def ordered_levels(values: pl.Series) -> tuple[str, ...]:
    """List the levels that occur: numbers by size, text by name."""
    return tuple(level_text(values.drop_nulls().unique().sort()).to_list())


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


def _joined(one: str | None, two: str | None) -> str | None:
    return ":".join(part for part in (one, two) if part is not None) or None
