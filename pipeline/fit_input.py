"""A table for ``sulca fit``: CSV or Parquet in, columns of the types that the plan needs out."""

import csv
from collections.abc import Iterable
from pathlib import Path

import polars as pl

from pipeline.intake.screen_cells import shown
from pipeline.plan import Analysis
from pipeline.plan_check import columns_of
from shared.errors import InputFileError, PlanError, nearest

MISSING = ("", "NA")  # what stands for a missing value in a CSV file
TRUTH = {"true": True, "false": False, "TRUE": True, "FALSE": False, "True": True, "False": False}


def read_table(path: Path) -> pl.DataFrame:
    """Read a CSV file (UTF-8, comma; every cell as text, blank and NA missing) or a Parquet file.

    Raises
    ------
    InputFileError
        If the file is absent, empty, no table, or has a column twice.
    """
    where = str(path)
    if not path.is_file():
        raise InputFileError(where, "there is no such file", do="Check the path.")
    try:
        if path.suffix.lower() in (".parquet", ".pq"):
            frame = pl.read_parquet(path)
        else:
            frame = _read_csv(path)
    except (pl.exceptions.PolarsError, UnicodeDecodeError, csv.Error, OSError) as error:
        reason = str(error).splitlines()[0]
        raise InputFileError(
            where, f"it is no readable table ({reason})",
            do="Save it as CSV in UTF-8 with commas, or as Parquet.",
        ) from error  # fmt: skip
    if frame.is_empty():
        raise InputFileError(where, "it has no row", do="Name a table with rows.")
    return frame


def typed_for(frame: pl.DataFrame, analyses: Iterable[Analysis], *, where: str) -> pl.DataFrame:
    """Give columns that a plan uses as numbers or as true/false that type; others stay text.

    Raises
    ------
    PlanError
        If the table lacks a column.
    InputFileError
        If a column used as a number holds text; it names the row and the text.
    """
    needed: dict[str, str] = {}
    for analysis in analyses:
        for key, column in columns_of(analysis):
            if column not in frame.columns:
                raise PlanError(
                    f'analysis "{analysis.id}"',
                    f'{key} names the column "{column}", which is not in {where}',
                    do=nearest(column, frame.columns),
                )
        for column in _numeric(analysis):
            needed.setdefault(column, analysis.id)
    out = frame
    for column, first in needed.items():
        if frame.schema[column] == pl.String:
            out = out.with_columns(_numbers(frame[column], first, where=where))
    return out


def _read_csv(path: Path) -> pl.DataFrame:
    """Read every cell as text; a row that is longer or shorter than the header is refused."""
    with path.open(newline="", encoding="utf-8-sig") as handle:
        reader = csv.reader(handle, strict=True)
        header = next(reader, [])
        if not header:
            raise InputFileError(str(path), "the file is empty", do="Name a table with rows.")
        repeated = [name for name in header if header.count(name) > 1]
        if repeated:
            raise InputFileError(
                str(path),
                f'the column "{repeated[0]}" stands there twice',
                do="Rename one of them.",
            )
        rows: list[list[str]] = []
        for row in reader:
            if len(row) != len(header) and row:
                raise InputFileError(
                    f"{path}, line {reader.line_num}",
                    f"the row has {len(row)} cells, the header {len(header)}",
                    do="Mend the row; text with a comma stands in double quotes.",
                )
            rows += [row] if row else []
    frame = pl.DataFrame(rows, schema=dict.fromkeys(header, pl.String()), orient="row")
    return frame.with_columns(pl.all().replace(dict.fromkeys(MISSING)))


def _numeric(analysis: Analysis) -> list[str]:
    """Name the columns that an analysis uses as numbers, unless they hold true and false."""
    columns = [analysis.time, analysis.entry, analysis.weights, analysis.left, analysis.right]
    groups = analysis.model in (
        "kaplan_meier", "log_rank", "risks", "cumulative_incidence", "paired_table",
        "restricted_mean", "mean_cumulative_count", "stratified_table",
    )  # fmt: skip
    terms = (*(() if groups else (analysis.exposure,)), *analysis.adjust_for,
             *analysis.observation_terms)  # fmt: skip
    columns += [name for name in terms if name not in analysis.categorical]
    return [name for name in columns if name]


def _numbers(values: pl.Series, analysis: str, *, where: str) -> pl.Series:
    text = values.str.strip_chars()
    if text.is_in(list(TRUTH)).fill_null(value=True).all() and text.is_not_null().any():
        return text.replace_strict(TRUTH, return_dtype=pl.Boolean)
    numbers = text.cast(pl.Float64, strict=False)
    bad = (numbers.is_null() & text.is_not_null()).arg_true()
    if len(bad):
        row = int(bad[0])
        raise InputFileError(
            f"{where}, row {row + 2}",
            f'the column "{values.name}" holds "{shown(values[row])}", and analysis "{analysis}" '
            f"uses it as a number ({len(bad)} such {'row' if len(bad) == 1 else 'rows'})",
            do="Mend the cell, or name the column's reference level in categorical.",
        )
    return numbers
