"""Rows of several files or sides of one file stand in the order of the files and their rows."""

import polars as pl
import pytest

from pipeline.intake.canonical_rows import canonical_rows
from pipeline.intake.mapping import TableMapping
from pipeline.intake.parts import Part
from schemas.codebook import read_codebook

TABLE = TableMapping(tables=("stifles",), source="s")
CODEBOOK = tuple(item for item in read_codebook() if item.table in ("animals", "stifles"))


def part(order: int, rows: list[int], *, texts: pl.DataType) -> Part:
    own = [f"{order}:{row}" for row in rows]
    dtype = pl.Enum(own) if texts == pl.Enum else texts
    cells = {"row": pl.Series(rows, dtype=pl.Int64), "raw:side": pl.Series(own, dtype=dtype)}
    place = {"file": "f", "sheet": "", "block": str(order), "sulca:order": order}
    made = pl.DataFrame(cells).with_columns(pl.lit(said).alias(to) for to, said in place.items())
    return Part(table=TABLE, rows=made)


@pytest.mark.parametrize("texts", [pl.String(), pl.Enum])
@pytest.mark.parametrize(("parts", "wanted"), [
    ({0: [2, 3, 4]}, ["0:2", "0:3", "0:4"]),
    ({0: [4, 2, 3]}, ["0:2", "0:3", "0:4"]),  # a sheet whose rows were sorted by something else
    ({0: [5, 6], 1_000_000: [2, 3]}, ["0:5", "0:6", "1000000:2", "1000000:3"]),  # two files
    ({0: [5, 6], 1_000_000: [3, 2]}, ["0:5", "0:6", "1000000:2", "1000000:3"]),
    ({0: [2, 3], 1: [2, 3]}, ["0:2", "1:2", "0:3", "1:3"]),  # left and right of one file
    ({0: [], 1: [2]}, ["1:2"]),
    ({0: []}, []),
])  # fmt: skip
def test_rows_follow_their_file_then_their_row(
    parts: dict[int, list[int]], wanted: list[str], texts: pl.DataType
) -> None:
    read = [part(order, rows, texts=texts) for order, rows in parts.items()]
    stifles = canonical_rows(read, "north", CODEBOOK)[0]["stifles"]
    assert stifles["raw:side"].cast(pl.String).to_list() == wanted
    assert stifles["row_id"].to_list() == [f"north/stifles/{n + 1}" for n in range(len(wanted))]
