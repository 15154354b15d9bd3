"""From the text of a cell to the text that is read: a word for missing, a part, a pattern."""

from collections.abc import Mapping

import polars as pl

from pipeline.intake import grammar as read
from pipeline.intake.sources import Grammar, Source


def meant_text(raw: pl.Series, source: Source, grammar: Grammar) -> tuple[pl.Series, pl.Series]:
    """Give the text that one source means in each cell, and why there is none.

    Returns
    -------
    tuple of pl.Series
        The text, null where it is missing or not there; and the reason why it is missing,
        null where there is a text, or one that is not understood.
    """
    words = {word: why for word, why in grammar.missing.items() if word not in source.codes}
    words |= dict(source.missing)
    blank = source.blank or grammar.blank
    cells = read.tidied(raw).to_frame("t")
    cells = _with_reason(cells, words, blank=pl.lit(blank))
    if source.split:
        nothing = pl.when("fits").then(pl.lit(blank))
        cells = _with_reason(_shared(cells, source), words, blank=nothing)
    if source.pattern:
        found = read.tidy(pl.col("t").str.extract(source.pattern))
        looked_in = pl.col("t").is_not_null() & ~pl.col("t").str.contains(source.pattern)
        absent = pl.when(looked_in).then(pl.lit(source.absent or None, pl.String))
        cells = cells.with_columns(absent.alias("absent"), found.alias("t"))
        cells = _with_reason(cells, words, blank=pl.col("absent"))
    return cells["t"], cells["miss"]


def _with_reason(cells: pl.DataFrame, words: Mapping[str, str], *, blank: pl.Expr) -> pl.DataFrame:
    """Find words for missing values; what was missing before stays so."""
    reason = pl.lit(None, pl.String)
    if not _all_longer(cells["t"], words):
        lower = pl.col("t").str.to_lowercase()
        reason = lower.replace_strict(dict(words), default=None, return_dtype=pl.String)
    why = pl.when(pl.col("t").is_null()).then(blank).otherwise(reason)
    before = pl.col("miss") if "miss" in cells.columns else pl.lit(None, pl.String)
    told = cells.with_columns(pl.coalesce(before, why).alias("miss"))
    return told.with_columns(pl.when(pl.col("miss").is_null()).then("t").alias("t"))


def _all_longer(texts: pl.Series, words: Mapping[str, str]) -> bool:
    """Tell plain texts, each longer than any of the words: none of them is one."""
    size = texts.str.len_bytes()
    if not (size == texts.str.len_chars()).all():
        return False
    return (size > max((len(word) for word in words), default=0)).all()


def _shared(cells: pl.DataFrame, source: Source) -> pl.DataFrame:
    """Take one of the values of a cell, "-9/3"; a cell with more or fewer is not understood."""
    values = pl.col("t").str.split(source.split)
    fits = values.list.len() == source.parts
    one = read.tidy(values.list.get(int(source.part) - 1, null_on_oob=True))
    return cells.with_columns(pl.when(fits).then(one).alias("t"), fits.alias("fits"))


def half_widths(text: pl.Series, source: Source, grammar: Grammar) -> pl.Series:
    """Give half the unit that each planned time uses, in days; a time in days has no window."""
    step = {unit: int(factor / 2 + 0.5) or None for unit, factor in read.UNITS_TO["day"].items()}
    step["days"] = None
    if source.unit:
        known = dict.fromkeys(text.drop_nulls().unique(), step[source.unit])
    else:
        units = source.units or grammar.durations
        parts = {item: read.amounts(item, grammar, units) for item in text.drop_nulls().unique()}
        known = {item: step[_finest(used)] for item, used in parts.items() if used}
    return text.replace_strict(known, default=None, return_dtype=pl.Int64)


def _finest(parts: list[tuple[float, str]]) -> str:
    return min((unit for _, unit in parts), key=lambda unit: read.UNITS_TO["day"][unit])
