"""Cells in which a spreadsheet failed: an error, or a formula that was never calculated."""

import polars as pl

from pipeline.intake.grammar import tidied
from pipeline.intake.sources import Grammar, Source
from schemas.codebook import Variable

BROKEN = "M17"
# "#N/A", "#DIV/0!", "#NV", "#¿NOMBRE?", "Err:502"; also as one of several joined cells.
_ERROR = (
    r"(?:^|\| )(?:#[¡¿]?\p{L}[\p{L}0-9/_]{0,14}[!?]|#N/?[ADV]|#GETTING_DATA|#ERROR|Err:[0-9]{3})"
    r"(?: \||$)"
)
_FORMULA = r"|(?:^|\| )="
_MARKS = "[#=]|Err:"  # one of them stands in every such text


def without_broken(
    cells: pl.DataFrame, source: Source, *, variable: Variable, grammar: Grammar
) -> pl.DataFrame:
    """Add the column ``broken``; such a text is no value, even where any text would be one.

    A text that the mapping lists under codes or missing has the meaning it gives there.
    """
    takes_any = variable.kind == "string" and (not source.codes or source.other_texts == "keep")
    doubted = (cells["miss"].is_null() & cells["value"].is_null()).any()
    if not takes_any and not doubted:
        return cells.with_columns(broken=pl.lit(value=False))
    if not cells["raw"].str.contains(_MARKS).any():
        return cells.with_columns(broken=pl.lit(value=False))
    pattern = _ERROR + _FORMULA if grammar.workbook else _ERROR
    cells = cells.with_columns(tidied(cells["raw"]).alias("tidy"))
    text = pl.col("tidy")
    if not cells["tidy"].str.contains(pattern).any():
        return cells.drop("tidy").with_columns(broken=pl.lit(value=False))
    meant = text.str.to_lowercase().is_in(list(source.codes)) | pl.col("miss").is_not_null()
    found = cells.with_columns(broken=(text.str.contains(pattern) & ~meant).fill_null(value=False))
    return found.drop("tidy").with_columns(pl.when(~pl.col("broken")).then("value").alias("value"))
