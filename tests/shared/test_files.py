"""Whole files or none; cells that cannot run as formulas."""

from collections.abc import Callable
from pathlib import Path

import duckdb
import polars as pl
import pytest

from shared.files import (
    fingerprint,
    replacing,
    write_csv,
    write_parquet,
    write_tables,
    write_text,
)

SIDES = pl.Enum(["never", "right", "left"])


def fail_half_way(target: Path) -> None:
    with replacing(target) as draft:
        draft.write_text("new")
        raise RuntimeError("half way")


def test_failed_write_leaves_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "results.csv"
    write_text(target, "old")
    with pytest.raises(RuntimeError, match="half way"):
        fail_half_way(target)
    assert target.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["results.csv"]


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx"])
def test_text_cells_cannot_run_as_formulas(tmp_path: Path, cell: str) -> None:
    write_csv(tmp_path / "q.csv", pl.DataFrame({"value": [cell], "row": [-1]}))
    back = pl.read_csv(tmp_path / "q.csv")
    assert back["value"][0] == "'" + cell
    assert back["row"][0] == -1


@pytest.mark.parametrize("dtype", [pl.Enum(["=1+1"]), pl.Categorical()], ids=str)
def test_coded_text_cells_cannot_run_as_formulas(tmp_path: Path, dtype: pl.DataType) -> None:
    write_csv(tmp_path / "q.csv", pl.DataFrame({"value": ["=1+1"]}, schema={"value": dtype}))
    assert pl.read_csv(tmp_path / "q.csv")["value"][0] == "'=1+1"


@pytest.mark.parametrize("dtype", [SIDES, pl.Categorical(), pl.String()], ids=str)
@pytest.mark.parametrize(
    "cells", [[], ["left"], [None], ["left", None, "right"], ["left", "left"], [None, None]],
    ids=str,
)  # fmt: skip
def test_codes_are_written_as_the_texts_they_stand_for(
    tmp_path: Path, cells: list[str | None], dtype: pl.DataType
) -> None:
    """Read back by polars and by DuckDB; the number beside them keeps its type."""
    path = tmp_path / "sides.parquet"
    written = pl.DataFrame({"side": cells, "row": range(len(cells))},
                           schema={"side": dtype, "row": pl.Int64})  # fmt: skip
    write_parquet(path, written)
    back = pl.read_parquet(path)
    assert back.schema == {"side": pl.String, "row": pl.Int64}
    assert back["side"].to_list() == cells
    with duckdb.connect() as database:
        found = database.sql(f"SELECT side FROM '{path}' ORDER BY row")
        assert [str(kind) for kind in found.types] == ["VARCHAR"]
        assert found.fetchall() == [(cell,) for cell in cells]


@pytest.mark.parametrize("rows", [3, 70_000])
def test_a_word_that_no_cell_holds_is_not_in_the_file(tmp_path: Path, rows: int) -> None:
    """A cell that was emptied leaves its word among the codes of its column."""
    words = pl.Enum(["left", "emptied word", "right", "last word"])
    cells = pl.Series(["left"] * (rows - 2) + [None, "last word"], dtype=words)
    path = tmp_path / "cells.parquet"
    write_parquet(path, cells.to_frame("side"))
    content = path.read_bytes()
    assert b"last word" in content  # a word that a cell holds can be seen
    assert b"emptied word" not in content
    assert pl.read_parquet(path)["side"].to_list() == cells.to_list()


@pytest.mark.parametrize("dtype", [pl.Enum, lambda _: pl.Categorical(pl.Categories.random())])
@pytest.mark.parametrize("words", [3, 40, 300])
def test_of_many_words_those_that_stand_late_or_seldom_are_written(
    tmp_path: Path, words: int, dtype: Callable[[list[str]], pl.DataType]
) -> None:
    """Codes of one byte and of two, with gaps in any place, in runs or not."""
    named = [f"word {n:03}" for n in range(words)]
    for gap in (0, words // 2, words - 1):
        held = [name for n, name in enumerate(named) if n != gap]
        cells = pl.Series([held[0]] * 70_000 + [None, *held, *held[::2]], dtype=dtype(named))
        assert cells.dtype != pl.String
        write_parquet(tmp_path / "cells.parquet", cells.to_frame("word"))
        content = (tmp_path / "cells.parquet").read_bytes()
        assert named[gap].encode() not in content
        assert pl.read_parquet(tmp_path / "cells.parquet")["word"].to_list() == cells.to_list()


def test_same_frame_gives_same_bytes(tmp_path: Path) -> None:
    frame = pl.DataFrame({"a": [1.5, None], "b": ["x", "y"]})
    write_parquet(tmp_path / "1.parquet", frame)
    write_parquet(tmp_path / "2.parquet", frame)
    assert fingerprint(tmp_path / "1.parquet") == fingerprint(tmp_path / "2.parquet")


@pytest.mark.parametrize("text", ["north", "", None], ids=str)
def test_one_text_throughout_is_written_alike_whether_or_not_it_takes_room(
    tmp_path: Path, text: str | None
) -> None:
    number = pl.DataFrame({"row": range(5)})
    roomless = number.with_columns(pl.lit(text, pl.String).alias("clinic_id"))
    cells = number.with_columns(pl.Series("clinic_id", [text] * 5, dtype=pl.String))
    for name, frame in (("1", roomless), ("2", cells)):
        write_parquet(tmp_path / f"{name}.parquet", frame)
    assert fingerprint(tmp_path / "1.parquet") == fingerprint(tmp_path / "2.parquet")
    assert pl.read_parquet(tmp_path / "1.parquet")["clinic_id"].to_list() == [text] * 5


def test_tables_written_together_are_those_written_alone(tmp_path: Path) -> None:
    tables = {f"t{k}": pl.DataFrame({"a": range(k), "b": ["x"] * k}) for k in range(4)}
    write_tables(tmp_path / "together", tables)
    for name, frame in tables.items():
        write_parquet(tmp_path / f"{name}.parquet", frame)
    written = {path.name: path.read_bytes() for path in (tmp_path / "together").iterdir()}
    assert written == {path.name: path.read_bytes() for path in tmp_path.glob("*.parquet")}


def test_bytes_do_not_depend_on_what_was_read_before(tmp_path: Path) -> None:
    for name, before in (("1", ["left", "right"]), ("2", ["other word", "right", "left"])):
        words = pl.Categorical(pl.Categories.random())
        pl.Series(before, dtype=words)  # gives the words their codes
        cells = pl.Series("side", ["right", None, "left"], dtype=words)
        write_parquet(tmp_path / f"{name}.parquet", cells.to_frame())
    assert fingerprint(tmp_path / "1.parquet") == fingerprint(tmp_path / "2.parquet")
    assert b"other word" not in (tmp_path / "2.parquet").read_bytes()


def test_fingerprint_is_sha256_of_the_bytes(tmp_path: Path) -> None:
    """FIPS 180-2, appendix B.1: the digest of "abc" (from memory, equal to hashlib's)."""
    write_text(tmp_path / "abc", "abc")
    assert fingerprint(tmp_path / "abc") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
