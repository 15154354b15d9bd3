"""Whole files or none; cells that cannot run as formulas."""

from pathlib import Path

import polars as pl
import pytest

from shared.files import fingerprint, replacing, write_csv, write_parquet, write_text


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


def test_same_frame_gives_same_bytes(tmp_path: Path) -> None:
    frame = pl.DataFrame({"a": [1.5, None], "b": ["x", "y"]})
    write_parquet(tmp_path / "1.parquet", frame)
    write_parquet(tmp_path / "2.parquet", frame)
    assert fingerprint(tmp_path / "1.parquet") == fingerprint(tmp_path / "2.parquet")


def test_fingerprint_is_sha256_of_the_bytes(tmp_path: Path) -> None:
    """FIPS 180-2, appendix B.1: the digest of "abc" (from memory, equal to hashlib's)."""
    write_text(tmp_path / "abc", "abc")
    assert fingerprint(tmp_path / "abc") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
