"""Columns of few texts are read as codes: a cell then takes one or two bytes, not sixteen.

Which columns these are shows in the first records. Their texts are put into the dictionary before
the reading, which finds few others; but those it numbers as its threads happen to meet them.
"""

import polars as pl

from pipeline.intake.fast_reader import parse, without_blanks
from pipeline.intake.mapping import SourceFile
from shared.side_by_side import side_by_side

SAMPLE = 10_000  # records
FEW = 500  # texts in the sample; with many more, the dictionary costs more than it saves
CODE = pl.UInt16()


def read_coded(
    content: bytes, source: SourceFile, *, width: int, skip_lines: int = 0
) -> pl.DataFrame:
    """Read as `read_cells` does, with the columns of few texts as codes.

    Raises
    ------
    PolarsError
        If a record has more cells.
    """
    names = [str(place) for place in range(width)]
    texts: dict[str, pl.DataType] = dict.fromkeys(names, pl.String())
    sample = parse(content, source, schema=texts, skip_lines=skip_lines, n_rows=SAMPLE)
    seen = {column.name: column.unique(maintain_order=True).drop_nulls() for column in sample}
    codes = {
        name: own.cast(pl.Categorical(pl.Categories.random(name, CODE)))
        for name, own in seen.items() if own.len() <= FEW
    }  # fmt: skip
    schema = texts | {name: own.dtype for name, own in codes.items()}
    try:
        frame = parse(content, source, schema=schema, skip_lines=skip_lines)
    except pl.exceptions.PolarsError:  # perhaps there are more texts than codes
        frame = parse(content, source, schema=texts, skip_lines=skip_lines)
    return pl.DataFrame(side_by_side(  # texts in one piece, or each use puts them together anew
        lambda cells: without_blanks(cells).rechunk() if cells.dtype == pl.String
        else _own_codes(cells, seen[cells.name]), frame,
    ))  # fmt: skip


def _own_codes(cells: pl.Series, seen: pl.Series) -> pl.Series:
    """Code texts as they come in the sample, then those beyond it by the alphabet."""
    number = cells.to_physical()
    n_texts = 1 + int(number.max()) if number.count() else 0  # type: ignore[arg-type]
    texts = pl.int_range(n_texts, dtype=CODE, eager=True).cat.to(cells.dtype).cast(pl.String)
    own = pl.concat([seen, texts.slice(seen.len()).sort()])
    coded = texts.cast(pl.Enum(own.filter(own != "")), strict=False)  # null is what stands in none
    return coded.gather(number).alias(cells.name)


def with_texts(cells: pl.Series, others: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Let cells of text stand below cells of codes, which then know their texts too."""
    if not isinstance(cells.dtype, pl.Enum):
        return cells, others
    own = cells.dtype.categories
    wider = pl.Enum(pl.concat([own, others.drop_nulls()]).unique(maintain_order=True))
    if wider != cells.dtype:
        cells = own.cast(wider).gather(cells.to_physical()).alias(cells.name)
    return cells, others.cast(wider)
