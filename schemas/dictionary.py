"""The data dictionary in rows, and empty tables for clinics that want to fill them directly."""

import csv
import io
from collections.abc import Iterable

import polars as pl

from schemas.codebook import CANONICAL_TABLES, Variable, of_table

COLUMNS = (
    "table", "variable", "label", "type", "unit", "codes", "limits", "usual", "required", "core",
    "definition", "source",
)  # fmt: skip
REQUIRED = {"yes": "always", "no": "optional"}


def dictionary(codebook: Iterable[Variable], tables: Iterable[str] = CANONICAL_TABLES
               ) -> pl.DataFrame:  # fmt: skip
    """Give one row per variable of these tables, in words a reader of the data needs.

    Codes stand as "1 = Grade I; 2 = Grade II", limits as "0.8 to 100".
    """
    declared = list(codebook)
    rows = [_row(item) for table in tables for item in of_table(declared, table)]
    return pl.DataFrame(rows, schema=dict.fromkeys(COLUMNS, pl.String()), orient="row")


def template(codebook: Iterable[Variable], table: str) -> str:
    """Give the text of an empty canonical CSV: the header and nothing else.

    Raises
    ------
    KeyError
        If the codebook declares nothing for `table`.
    """
    names = [item.name for item in of_table(codebook, table)]
    if not names:
        raise KeyError(table)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(names)
    return text.getvalue()


def when_needed(item: Variable) -> str:
    """Say when a variable must be filled: "always", "optional" or "when ..."."""
    return f"when {item.required_when}" if item.required == "when" else REQUIRED[item.required]


def in_words(pair: tuple[str, str] | None) -> str:
    """Write a pair of limits as "0.8 to 100"; nothing for none."""
    return f"{pair[0]} to {pair[1]}" if pair else ""


def _row(item: Variable) -> dict[str, str]:
    return {
        "table": item.table, "variable": item.name, "label": item.label, "type": item.kind,
        "unit": item.unit, "definition": item.definition, "source": item.source,
        "codes": "; ".join(f"{code} = {label}" for code, label in item.codes.items()),
        "limits": in_words(item.limits), "usual": in_words(item.usual),
        "required": when_needed(item), "core": item.core,
    }  # fmt: skip
