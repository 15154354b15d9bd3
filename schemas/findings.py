"""Findings: what was seen in a cell or row, what follows, and what the clinic is asked."""

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any, Literal

import polars as pl

Action = Literal["stop", "hold", "derive", "set_aside", "ask"]

FINDING_SCHEMA: dict[str, pl.DataType] = {
    "rule": pl.String(),       # R39, or C.. (codebook), M.. (mapping), S.. (screening)
    "action": pl.String(),     # stop, hold, derive, set_aside, ask
    "clinic_id": pl.String(),
    "table": pl.String(),      # canonical table, "" where none is known yet
    "row_id": pl.String(),     # row of the canonical table, "" where none
    "key": pl.String(),        # local key in words: "A-0104, left, day 42"
    "file": pl.String(),
    "sheet": pl.String(),      # "" for text files
    "row": pl.Int64(),         # as a spreadsheet shows it; null where the whole file is meant
    "column": pl.String(),     # header in the clinic's file, "" where none
    "variable": pl.String(),   # canonical variable, "" where none
    "value": pl.String(),      # raw text of the cell, as received
    "says": pl.String(),       # what is wrong, one sentence
    "fix": pl.String(),        # what to do
    "holds": pl.String(),      # what is unknown until answered, comma separated: variables or
                               # outcome:reluxation, outcome:implant, outcome:all
}  # fmt: skip


def findings(rows: Iterable[Mapping[str, Any]] = ()) -> pl.DataFrame:
    """Put findings in one frame; a field left out is empty."""
    filled = [{name: "" for name in FINDING_SCHEMA if name != "row"} | {"row": None} | dict(row)
              for row in rows]  # fmt: skip
    return pl.DataFrame(filled, schema=FINDING_SCHEMA, orient="row")


def query_id(clinic_id: str, table: str, key: str, variable: str, rule: str) -> str:
    """Make an id that stays the same when the same question is asked of the next export."""
    text = "\x1f".join((clinic_id, table, key, variable, rule))
    return "Q-" + hashlib.sha256(text.encode()).hexdigest()[:10]
