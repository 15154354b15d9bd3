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
    schema: dict[str, pl.DataType] = dict.fromkeys(names, pl.String())
    frame = parse(content, source, schema=schema, skip_lines=skip_lines)
    return pl.DataFrame([without_blanks(cells) for cells in frame])


def parse(
    content: bytes, source: SourceFile, *, schema: dict[str, pl.DataType], skip_lines: int,
    n_rows: int | None = None,
) -> pl.DataFrame:  # fmt: skip
    """Read columns; what stands between quotes that follow each other is a text without letters."""
    return pl.read_csv(
        content, has_header=False, schema=schema, infer_schema=False, separator=source.delimiter,
        quote_char=source.quote or None, skip_lines=skip_lines, n_rows=n_rows,
    )  # fmt: skip


def without_blanks(cells: pl.Series) -> pl.Series:
    """Make null what is nothing between quotes."""
    is_text = cells != ""
    return cells if is_text.all() else cells.set(~is_text, None)


def unfilled(rows: pl.DataFrame) -> pl.Series:
    """Tell which rows hold nothing but white space; most are told by the fullest column."""
    cells = [column for column in rows.iter_columns() if column.name != ROW]
    fullest = min(cells, key=lambda column: (column.null_count(), column.dtype == pl.String))
    blank = rows.select(_is_blank(fullest)).to_series()
    if blank.any():
        some = rows.filter(blank)
        all_blank = some.filter(*(_is_blank(column) for column in cells))[ROW]
        blank = rows[ROW].is_in(all_blank.implode())
    return blank


def _is_blank(cells: pl.Series) -> pl.Expr:
    """Tell where a column holds nothing but white space; of codes, that their texts are."""
    column = pl.col(cells.name)
    if isinstance(cells.dtype, pl.Enum):
        texts = cells.dtype.categories
        white = texts.filter(texts.str.strip_chars(WHITE) == "").cast(cells.dtype)
        return column.is_null() | column.is_in(white.implode())
    return column.is_null() | (column.str.strip_chars(WHITE) == "")
