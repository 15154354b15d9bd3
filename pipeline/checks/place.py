"""Which rows a correction names: by clinic, table, local key and old text, never by row number."""

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.checks.words import key_in_words
from pipeline.intake.mapped import RAW, raw_text
from schemas.rules.rule import Frames

if TYPE_CHECKING:
    from pipeline.corrections_file import Correction

DAY_OF = {"rechecks": "recheck_day", "complications": "detected_day",
          "revisions": "revision_day", "implants": "implant_removed_day",
          "measurements": "image_day"}  # fmt: skip
STIFLE = ["clinic_id", "local_stifle"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Words:
    """The rows of one table by the names a clinic knows: row_id, clinic_id, words, day."""

    table: str
    rows: pl.DataFrame


def words_of(tables: Frames, table: str) -> Words:
    """Name every row of a table in words: "A-0104, left, day 42"."""
    frame = tables[table]
    joined = frame
    if "local_stifle" in frame.columns and "local_animal" not in frame.columns:
        codes = tables["stifles"].unique(STIFLE, keep="first", maintain_order=True).select(
            *STIFLE, pl.col("local_animal", "side").name.prefix("stifles.")
        )  # fmt: skip
        joined = frame.join(codes, on=STIFLE, how="left", maintain_order="left")
    day = pl.col(DAY_OF[table]) if table in DAY_OF else pl.lit(None, pl.Int64)
    clinic = ["clinic_id"] if "clinic_id" in frame.columns else []
    return Words(table=table, rows=joined.select(
        "row_id", *clinic, words=key_in_words(joined, table), day=day,
    ))  # fmt: skip


def rows_named(words: Words, frame: pl.DataFrame, item: "Correction") -> pl.DataFrame:
    """Give the rows a correction names (row_id, raw), and whether the old text `stands` in them.

    Rows of `frame` that left since `words` was made are not given.
    """
    name = ", ".join(part for part in (item.animal, item.side, item.day) if part)
    match = pl.col("words").is_in([name, name.removesuffix(item.day) + f"day {item.day}"])
    if item.day.lstrip("-").isdigit():
        place = ", ".join(part for part in (item.animal, item.side) if part)
        match = match | (
            pl.col("words").str.starts_with(f"{place}, ") & (pl.col("day") == int(item.day))
        )
    named = words.rows.filter(pl.col("clinic_id") == item.clinic, match).select("row_id")
    text = raw_text(item.variable).fill_null("").str.strip_chars()
    rows = frame.join(named, on="row_id", how="semi", maintain_order="left")
    stands = text == item.old_raw.strip()
    if item.decision == "deleted" and item.new:
        prints = [text_fingerprint(row) for row in rows.iter_rows(named=True)]
        stands = stands & (pl.Series(prints, dtype=pl.String) == item.new)
    return rows.with_columns(raw=text, stands=stands).select("row_id", "raw", "stands")


def text_fingerprint(row: dict[str, object]) -> str:
    """Name a row by all its texts: two rows of one key differ in it, wherever they stand."""
    texts = [f"{name}\x1f{text}" for name, text in sorted(row.items())
             if name.startswith(RAW) and text]  # fmt: skip
    return hashlib.sha256("\x1e".join(texts).encode()).hexdigest()[:12]
