"""Findings -> what each clinic must answer: a workbook for its secretary, and the same as CSV."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.checks.words import query_ids
from pipeline.checks.workbook import write_workbook
from pipeline.query_progress import write_progress
from schemas.codebook import Variable, read_codebook
from shared.errors import InputFileError
from shared.files import write_csv

# In the order of what they could change.
PRIORITY: Mapping[str, str] = {
    "stop": "1 this row cannot be used yet", "hold": "2 a result is held back",
    "derive": "3 we filled this in", "ask": "4 please confirm",
    "set_aside": "5 set aside, for information",
}  # fmt: skip
COLUMNS = (
    "query_id", "status", "priority", "file", "sheet", "row", "column", "animal", "value",
    "what is wrong", "what to do", "answer", "right value", "remark", "table", "variable", "rule",
)  # fmt: skip
# What the mapping settles, not the clinic: files and columns nobody reads, another codebook.
COORDINATORS = frozenset({"M12", "M13", "M15"})
# Copies need no answer; each word of M09 is asked below.
NOT_ASKED = frozenset({"R07", "M09"}) | COORDINATORS
FOR_COORDINATOR = "for the coordinator.csv"
WAITING = "M07"  # a day that waits for the date of surgery, which is asked itself
CELLS = frozenset({"M01", "M05"})


@dataclass(frozen=True, slots=True, kw_only=True)
class QuerySummary:
    """How many questions each clinic has, and how many were answered since the last round."""

    open: int
    new: int
    resolved: int
    by_clinic: Mapping[str, int]
    paths: tuple[Path, ...]


def write_queries(found: pl.DataFrame, out_dir: Path, *, clinics: Iterable[str],
                  codebook: Iterable[Variable] = (), previous: Path | None = None
                  ) -> QuerySummary:  # fmt: skip
    """Write ``<clinic>.xlsx``, ``.csv`` and ``.html`` (rounds so far) for every clinic.

    What the mapping settles is no question to a clinic; ``for the coordinator.csv`` lists it.

    Parameters
    ----------
    found
        Findings of intake, corrections, checks and linking (``FINDING_SCHEMA``).
    codebook
        Gives the label where a cell has no header of its own; by default the project's.
    previous
        Folder with the CSV files of the round before: a question that stood there is open, not
        new, and one that no longer stands is listed as resolved (in the CSV alone).

    Raises
    ------
    InputFileError
        If a CSV of the last round is there and cannot be read.
    """
    labels = query_labels(tuple(codebook) or read_codebook())
    counts: dict[str, tuple[int, int, int]] = {}
    paths: list[Path] = []
    lists: dict[str, pl.DataFrame] = {}
    for clinic in sorted(clinics):
        before = _last_round(previous / f"{clinic}.csv" if previous else None)
        queries = queries_of(found, clinic, labels, before=before["query_id"])
        resolved = before.join(queries, on="query_id", how="anti", maintain_order="left")
        new = queries.filter(pl.col("status") == "new").height
        counts[clinic] = (queries.height, new, resolved.height)
        paths += [out_dir / f"{clinic}.xlsx", out_dir / f"{clinic}.csv"]
        write_workbook(paths[-2], queries)
        lists[clinic] = pl.concat([queries, resolved])
        write_csv(paths[-1], lists[clinic])
    paths.append(out_dir / FOR_COORDINATOR)
    write_csv(paths[-1], coordinators_list(found))
    paths += write_progress(lists, out_dir, previous=previous)
    return QuerySummary(
        open=sum(all_ for all_, _, _ in counts.values()),
        new=sum(new for _, new, _ in counts.values()),
        resolved=sum(gone for _, _, gone in counts.values()),
        by_clinic={clinic: all_ for clinic, (all_, _, _) in counts.items()}, paths=tuple(paths),
    )  # fmt: skip


def queries_of(found: pl.DataFrame, clinic: str, labels: Mapping[tuple[str, str], str], *,
               before: pl.Series | None = None) -> pl.DataFrame:  # fmt: skip
    """Give the questions of one clinic, those first that could change a result most.

    A cell that intake did not understand and whose text stands in several rows is asked about
    once, with the number of rows; so is a question that several rows share.
    """
    asked = _each_text_once(asked_findings(found, clinic))
    asked = asked.with_columns(query_ids(asked)).with_columns(
        same=pl.len().over("query_id"),
    )  # fmt: skip
    asked = asked.unique("query_id", keep="first", maintain_order=True)
    shown = asked.with_columns(
        status=pl.when(pl.col("query_id").is_in([] if before is None else before.to_list()))
        .then(pl.lit("open")).otherwise(pl.lit("new")),
        priority=pl.col("action").replace_strict(PRIORITY),
        animal=pl.col("key"),
        column=pl.when(pl.col("column") == "")
        .then(_label(asked, labels)).otherwise(pl.col("column")),
        **{"what is wrong": pl.col("says") + _also(), "what to do": pl.col("fix")},
        answer=pl.lit(""), remark=pl.lit(""), **{"right value": pl.lit("")},
    )  # fmt: skip
    return shown.sort("priority", "file", "sheet", "row", "query_id").select(COLUMNS)


def coordinators_list(found: pl.DataFrame) -> pl.DataFrame:
    """Give what the coordinator settles in the mappings, by clinic and file."""
    own = found.filter(pl.col("rule").is_in(list(COORDINATORS)))
    return own.sort("clinic_id", "file", "sheet", "rule", "column", "says").select(
        clinic="clinic_id", rule="rule", file="file", sheet="sheet", column="column",
        **{"what is wrong": pl.col("says"), "what to do": pl.col("fix")},
    )  # fmt: skip


def query_labels(codebook: Iterable[Variable]) -> dict[tuple[str, str], str]:
    """Give the label of each variable, for cells without a header of their own."""
    return {(item.table, item.name): item.label for item in codebook}


def asked_findings(found: pl.DataFrame, clinic: str) -> pl.DataFrame:
    """Give the findings of one clinic that its questions are made of."""
    own = found.filter(pl.col("clinic_id") == clinic, ~pl.col("rule").is_in(list(NOT_ASKED)))
    return _without_waiting(own)


def _without_waiting(own: pl.DataFrame) -> pl.DataFrame:
    """Leave out days that only wait for a date of surgery, where that date is asked about."""
    joint = pl.col("key").str.splitn(", day ", 2).struct.field("field_0")
    asked = own.filter(pl.col("rule") != WAITING, pl.col("action") == "stop")
    dates = asked.filter(pl.col("variable") == "surgery_date")["key"]
    rows = asked["row_id"]
    waits = (pl.col("rule") == WAITING) & (
        joint.is_in(dates.implode()) | pl.col("row_id").is_in(rows.implode())
    )
    return own.filter(~waits)


def _each_text_once(own: pl.DataFrame) -> pl.DataFrame:
    """Ask about a text that is not understood once a column, naming the number of rows."""
    by = ["rule", "file", "sheet", "column", "table", "variable", "value"]
    texts = own.filter(pl.col("rule").is_in(list(CELLS)))
    others = own.filter(~pl.col("rule").is_in(list(CELLS)))
    counted = texts.with_columns(n=pl.len().over(by)).unique(by, keep="first", maintain_order=True)
    several = pl.col("n") > 1
    told = pl.concat_str("says", pl.lit(" This text stands in "), "n", pl.lit(" rows."))
    every = pl.concat_str(pl.lit('every "'), "value", pl.lit('"'))
    once = counted.with_columns(
        pl.when(several).then(told).otherwise(pl.col("says")).alias("says"),
        pl.when(several).then(every).otherwise(pl.col("key")).alias("key"),
    ).drop("n")
    return pl.concat([others, once])


def _also() -> pl.Expr:
    return pl.when(pl.col("same") > 1).then(
        pl.concat_str(pl.lit(" The same question concerns "), "same", pl.lit(" rows."))
    ).otherwise(pl.lit(""))  # fmt: skip


def _label(asked: pl.DataFrame, labels: Mapping[tuple[str, str], str]) -> pl.Series:
    pairs = asked.select("table", "variable").rows()
    return pl.Series([labels.get(pair, "") for pair in pairs], dtype=pl.String)


def _last_round(path: Path | None) -> pl.DataFrame:
    """Read the questions of the round before that were still open in it, as resolved."""
    schema = {name: pl.Int64() if name == "row" else pl.String() for name in COLUMNS}
    if path is None or not path.exists():
        return pl.DataFrame(schema=schema)
    try:
        last = pl.read_csv(path, schema=schema)
    except (pl.exceptions.PolarsError, UnicodeDecodeError) as error:
        raise InputFileError(
            str(path), "the query list of the last round cannot be read",
            do="Put the file back as it was written, or ask everything as new.",
        ) from error  # fmt: skip
    return last.filter(pl.col("status") != "resolved").with_columns(status=pl.lit("resolved"))
