"""Running numbers of events, and what is filled in where the export is blank."""

from collections.abc import Mapping, Sequence

import polars as pl

from pipeline.intake.cells import as_type
from pipeline.intake.operations import with_joined
from schemas.codebook import Variable

RUNNING: Mapping[str, tuple[str, str]] = {
    "complications": ("complication_no", "detected_day"),
    "revisions": ("revision_no", "revision_day"),
    "implants": ("implant_no", "implant_removed_day"),
}
LATEST_EVENT = "latest_event"
_EVENT_DAYS = (
    ("rechecks", "recheck_day"), ("complications", "detected_day"),
    ("revisions", "revision_day"), ("implants", "implant_removed_day"),
)  # fmt: skip


def number_events(rows: pl.DataFrame, table: str, variables: Sequence[Variable]) -> pl.DataFrame:
    """Give events of a stifle running numbers by day, then by place; exact copies share one.

    Equal implants of one source row are several pieces, each with a number of its own.
    """
    if table not in RUNNING or rows.is_empty():
        return rows
    number, day = RUNNING[table]
    if rows[number].null_count() < rows.height:
        return rows
    content = [item.name for item in variables if item.name not in (number, "clinic_id")]
    content += [f"raw:{name}" for name in content]
    if table == "implants":
        piece = pl.int_range(pl.len()).over("file", "sheet", "row", *content)
        rows, content = rows.with_columns(piece.alias("sulca:piece")), [*content, "sulca:piece"]
    first = pl.col("sulca:place").min().over(content)
    rank = (
        pl.struct(pl.col(day).fill_null(1 << 30), "sulca:first").rank("dense").over("local_stifle")
    )
    return (
        rows.with_row_index("sulca:place")
        .with_columns(first.alias("sulca:first"))
        .with_columns(rank.cast(pl.Int64).alias(number))
        .drop("sulca:place", "sulca:first", "sulca:piece", strict=False)
    )


def fill_blanks(
    tables: dict[str, pl.DataFrame],
    rules: Mapping[str, Mapping[str, str]],
    variables: Mapping[tuple[str, str], Variable],
) -> None:
    """Fill what the mapping declares under [when_blank]; held cells stay held.

    "latest_event" is the last day on which a recheck, complication, revision or removal of
    the stifle is known, day 0 where there is none. The column "derived:x" marks the cells.
    """
    for table, by_variable in rules.items():
        if table not in tables:
            continue
        for name, code in by_variable.items():
            rows = tables[table]
            if code == LATEST_EVENT:
                rows = with_joined(rows, _latest(tables), on="local_stifle")
                value = pl.col("sulca:latest").fill_null(0)
            else:
                value = pl.lit(as_type(pl.Series([code]), variables[table, name]).item())
            blank = pl.col(name).is_null() & pl.col(f"rule:{name}").is_null()
            tables[table] = rows.with_columns(
                pl.when(blank).then(value).otherwise(name).alias(name),
                blank.alias(f"derived:{name}"),
            ).drop("sulca:latest", strict=False)


def _latest(tables: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    days = [
        tables[table].select("local_stifle", pl.col(day).alias("sulca:latest"))
        for table, day in _EVENT_DAYS
        if table in tables
    ]
    empty = pl.DataFrame(schema={"local_stifle": pl.String, "sulca:latest": pl.Int64})
    return pl.concat([empty, *days]).group_by("local_stifle", maintain_order=True).agg(
        pl.col("sulca:latest").max()
    )  # fmt: skip
