"""The fast reader of texts in which every record has as many cells as there are columns."""

import polars as pl

from pipeline.intake.mapping import SourceFile
from pipeline.intake.sheet import ROW

WHITE = "".join(chr(code) for code in range(0x110000) if chr(code).isspace())


def read_cells(
    content: bytes, source: SourceFile, *, width: int, skip_lines: int = 0
) -> pl.DataFrame:
    """Read columns that are named by their place; blank cells are null.

    Raises
    ------
    PolarsError
        If a record has more cells.
    """
    names = [str(place) for place in range(width)]
    frame = pl.read_csv(
        content, has_header=False, schema=dict.fromkeys(names, pl.String()), infer_schema=False,
        separator=source.delimiter, quote_char=source.quote or None, skip_lines=skip_lines,
    )  # fmt: skip
    return frame.with_columns(
        pl.when(pl.col(name) != "").then(name).alias(name)
        for name in names
        if source.quote and (frame[name] == "").any()
    )


def unfilled(rows: pl.DataFrame) -> pl.Series:
    """Tell which rows hold nothing but white space; most are told by the fullest column."""

    def is_blank(name: str) -> pl.Expr:
        return pl.col(name).str.strip_chars(WHITE).fill_null("") == ""

    names = [name for name in rows.columns if name != ROW]
    fullest = min(names, key=lambda name: rows[name].null_count())
    blank = rows.select(is_blank(fullest)).to_series()
    if blank.any():
        some = rows.filter(blank)
        all_blank = some.filter(pl.all_horizontal(is_blank(name) for name in names))[ROW]
        blank = rows[ROW].is_in(all_blank.implode())
    return blank
