"""A filled-in query workbook -> lines for corrections.csv."""

from pathlib import Path

import fastexcel
import polars as pl

from pipeline.checks.workbook import ANSWERS
from shared.errors import InputFileError

# "A-0104, left, day 42": the animal, then the side and the day or number where they are known.
NUMBERED = "day|event|revision|implant|image"
KEY = rf"^(?<animal>.*?)(?:, (?<side>left|right))?(?:, (?<day>(?:{NUMBERED}) .+))?$"
NEEDED = ("query_id", "animal", "value", "answer", "right value", "remark", "table", "variable")
SCHEMA = {name: pl.String() for name in (
    "query_id", "clinic", "table", "animal", "side", "day", "variable", "old_raw", "new",
    "decision", "reason", "who", "when",
)}  # fmt: skip


def read_answers(path: Path, clinic: str) -> pl.DataFrame:
    """Read the answers of one clinic as rows of corrections.csv.

    "cannot be found" gives no row: the question stays open. `who` and `when` stay blank for the
    coordinator to fill in.

    Raises
    ------
    InputFileError
        If the workbook or a column is not there, or an answer is not one of the three.
    """
    try:
        sheet = fastexcel.read_excel(path).load_sheet("Questions", dtypes="string")
    except fastexcel.FastExcelError as error:
        raise InputFileError(
            str(path), "this is no query workbook", do="Ask for the file as it was sent."
        ) from error
    filled = sheet.to_polars().with_columns(pl.all().fill_null(""))
    absent = [name for name in NEEDED if name not in filled.columns]
    if absent:
        raise InputFileError(
            str(path), f'the column "{absent[0]}" is missing', do="Ask for the file as it was sent."
        )
    answered = filled.filter(pl.col("answer").str.strip_chars() != "").with_row_index("line")
    _check(answered, path)
    key = pl.col("animal").str.extract_groups(KEY)
    return answered.filter(pl.col("answer") != ANSWERS[2]).select(
        "query_id", pl.lit(clinic).alias("clinic"), "table",
        key.struct.field("animal"),
        key.struct.field("side").fill_null(""),
        key.struct.field("day").fill_null("").str.strip_prefix("day "),
        "variable", pl.col("value").alias("old_raw"), pl.col("right value").alias("new"),
        pl.when(pl.col("answer") == ANSWERS[0]).then(pl.lit("corrected"))
        .otherwise(pl.lit("confirmed")).alias("decision"),
        pl.col("remark").alias("reason"), pl.lit("").alias("who"), pl.lit("").alias("when"),
    ).cast(pl.Schema(SCHEMA))  # fmt: skip


def _check(answered: pl.DataFrame, path: Path) -> None:
    for row in answered.iter_rows(named=True):
        if row["answer"] not in ANSWERS:
            raise InputFileError(
                f"{path.name}, question {row['query_id']}",
                f'the answer "{row["answer"]}" is not known', do="Use: " + ", ".join(ANSWERS) + ".",
            )  # fmt: skip
        if row["answer"] == ANSWERS[0] and not row["right value"].strip():
            raise InputFileError(
                f"{path.name}, question {row['query_id']}",
                "it says corrected, but the right value is missing",
                do="Fill in the right value, or choose another answer.",
            )
