"""Which source rows are meant, and which are set aside by a declared rule."""

import polars as pl

from pipeline.intake import grammar as read
from pipeline.intake.mapping import Condition, SourceFile
from pipeline.intake.sheet import ROW, Sheet
from pipeline.intake.sources import Grammar


def is_true(condition: Condition, grammar: Grammar) -> pl.Expr:
    """Make the expression of one condition; a blank cell is never one of the texts."""
    text = read.tidy(pl.col(condition.column))
    if condition.filled is not None:
        known = text.is_not_null() & ~text.str.to_lowercase().is_in(list(grammar.missing))
        found = known.fill_null(value=False)
        return found if condition.filled else ~found
    if condition.pattern:
        found = text.str.contains(condition.pattern).fill_null(value=False)
    else:
        found = text.str.to_lowercase().is_in(list(condition.texts)).fill_null(value=False)
    return ~found if condition.negated else found


def part_set_aside(
    sheet: Sheet, source: SourceFile, grammar: Grammar
) -> tuple[pl.DataFrame, list[tuple[int, str]]]:
    """Part the rows that a declared rule sets aside; the first rule that fits gives the reason."""
    reason = pl.coalesce(
        *(
            pl.when(pl.all_horizontal(is_true(item, grammar) for item in rule.when))
            .then(pl.lit(rule.reason))
            for rule in source.set_aside
        ),
        pl.lit(None, pl.String),
    )  # fmt: skip
    marked = sheet.rows.with_columns(reason.alias("sulca:reason"))
    aside = marked.filter(pl.col("sulca:reason").is_not_null())
    kept = marked.filter(pl.col("sulca:reason").is_null()).drop("sulca:reason")
    return kept, list(zip(aside[ROW], aside["sulca:reason"], strict=True))
