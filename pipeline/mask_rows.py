"""Which rows may leave a clinic, with which cells: accrual, lock, shift and age of one file."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import polars as pl

from pipeline.intake.grammar import MONTH_DAYS, read_dates, tidy
from pipeline.intake.mapping import TYPED_FORMATS
from pipeline.intake.sheet import ROW, Sheet
from pipeline.mask_config import MaskConfig, MaskedFile
from pipeline.mask_tokens import normalised_code

ANIMAL, LINK = "local_animal", "link_token"
RENAMED: Mapping[str, str] = {"surgeon": "surgeon_id", "stifle": "local_stifle"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dated:
    """A file whose dates are read: the rows that may leave, and what was counted on the way.

    `rows` holds the clinic's own cells with dates as dates, and "why" of rows set aside;
    `unread` names the rows (as a spreadsheet shows them) of dates that were not understood.
    """

    rows: pl.DataFrame
    counts: Mapping[str, int] = field(default_factory=dict[str, int])
    unread: Mapping[str, tuple[int, ...]] = field(default_factory=dict[str, tuple[int, ...]])


def date_columns(file: MaskedFile) -> tuple[str, ...]:
    """Name every column of the file that holds dates."""
    birth = file.one.get("birth_date")
    return (*file.many["surgery_date"], *file.many["dates"], *([birth] if birth else []))


def read_dated(sheet: Sheet, file: MaskedFile, config: MaskConfig) -> Dated:
    """Read the true dates and decide which rows may leave.

    A row is set aside without an animal code, and where none of its operations lies within
    accrual and lock. Of several operations in a row those outside are emptied. A date that is
    not understood is emptied: as it stands it could tell the true day.
    """
    rows, unread = sheet.rows, dict[str, tuple[int, ...]]()
    for name in date_columns(file):
        rows, lost = _read_dates(rows, name, config, workbook=file.source.format in TYPED_FORMATS)
        unread |= {name: lost} if lost else {}
    codes = [normalised_code(code or "") for code in rows[file.animal]]
    rows = rows.with_columns(pl.Series(file.animal, codes, pl.String))
    nameless = pl.when(pl.col(file.animal) == "").then(pl.lit("no animal code"))
    surgery = file.many["surgery_date"]
    if surgery:
        rows, emptied = _within_accrual(rows, surgery, config)
        why = pl.coalesce(nameless, _no_operation(surgery))
    else:
        emptied = 0
        why = pl.coalesce(nameless, _all_after_lock(file, config))
    rows = rows.with_columns(why.alias("why")).drop(f"sulca:{name}" for name in surgery)
    late = sum(rows.filter(pl.col("why").is_null() & (pl.col(name) > config.data_lock_date)).height
               for name in file.many["dates"])  # fmt: skip
    return Dated(rows=rows, unread=unread, counts={
        "operations emptied, outside accrual or lock": emptied,
        "dates after the data lock, kept": late,
        "dates not understood, emptied": sum(len(places) for places in unread.values()),
    })  # fmt: skip


def _read_dates(
    rows: pl.DataFrame, name: str, config: MaskConfig, *, workbook: bool
) -> tuple[pl.DataFrame, tuple[int, ...]]:
    grammar = replace(config.grammar, workbook=workbook)
    text = rows.select(tidy(pl.col(name)).alias(name))[name]
    days = read_dates(text, grammar, grammar.date_formats)
    given = text.is_not_null() & ~text.str.to_lowercase().is_in(list(config.missing))
    lost = rows.filter(given & days.is_null())[ROW].to_list()
    word = pl.DataFrame({"text": text, "given": given}).select(
        pl.when(~pl.col("given")).then("text").alias(f"word:{name}")
    )  # fmt: skip
    return rows.with_columns(days.alias(name), word.to_series()), tuple(lost)


def _within_accrual(
    rows: pl.DataFrame, surgery: tuple[str, ...], config: MaskConfig
) -> tuple[pl.DataFrame, int]:
    """Empty operations outside accrual or after the lock; "sulca:<column>" says why.

    Counted are those emptied in a row that another operation keeps.
    """
    for name in surgery:
        day = pl.col(name)
        outside = (day < config.accrual_start) | (day > config.accrual_end)
        why = (
            pl.when(day.is_null()).then(pl.lit("no day of surgery that is understood"))
            .when(day > config.data_lock_date).then(pl.lit("operated after the data lock"))
            .when(outside).then(pl.lit("operated outside the accrual period"))
        )  # fmt: skip
        rows = rows.with_columns(why.alias(f"sulca:{name}"))
    inside = pl.any_horizontal(pl.col(f"sulca:{name}").is_null() for name in surgery)
    emptied = sum(
        rows.filter(inside & pl.col(name).is_not_null() & pl.col(f"sulca:{name}").is_not_null())
        .height for name in surgery
    )  # fmt: skip
    return rows.with_columns(
        pl.when(pl.col(f"sulca:{name}").is_null()).then(name).alias(name) for name in surgery
    ), emptied


def _no_operation(surgery: tuple[str, ...]) -> pl.Expr:
    """Say why a row has no operation that may leave: the gravest reason of its operations."""
    whys = [pl.col(f"sulca:{name}") for name in surgery]
    some_left = pl.any_horizontal(why.is_null() for why in whys)
    # "operated ..." comes after "no day ..." in the alphabet, and says more.
    return pl.when(~some_left).then(pl.max_horizontal(whys))


def _all_after_lock(file: MaskedFile, config: MaskConfig) -> pl.Expr:
    """Say of a row of follow-up that all it tells happened after the data lock."""
    names = file.many["dates"]
    if not names:
        return pl.lit(None, pl.String)
    after = pl.all_horizontal((pl.col(name) > config.data_lock_date).fill_null(value=True)
                              for name in names)  # fmt: skip
    dated = pl.any_horizontal(pl.col(name).is_not_null() for name in names)
    return pl.when(after & dated).then(pl.lit("seen after the data lock"))


def shifted_columns(rows: pl.DataFrame, file: MaskedFile, config: MaskConfig) -> pl.DataFrame:
    """Move all dates by "shift"; write true year, days to lock and age beside each operation.

    Words for a missing date stay. Ages are in whole months, as the intake makes them: nearer ones
    would give the date of birth away beside the day of surgery.
    """
    surgery, birth = file.many["surgery_date"], file.one.get("birth_date")
    made: list[pl.Expr] = []
    for name in surgery:
        beside = "" if len(surgery) == 1 else f" {name}"
        day = pl.col(name)
        made += [
            day.dt.year().alias(f"surgery_year{beside}"),
            (pl.lit(config.data_lock_date) - day).dt.total_days().alias(f"lock_day{beside}"),
        ]
        if birth:
            age = (day - pl.col(birth)).dt.total_days() / MONTH_DAYS
            whole = (age + 0.5).floor().cast(pl.Int64)
            made.append(pl.when(age >= 0).then(whole).alias(f"age_months{beside}"))
    shift = pl.duration(days=pl.col("shift"))
    moved = [
        pl.coalesce((pl.col(name) + shift).dt.to_string("%Y-%m-%d"), f"word:{name}").alias(name)
        for name in (*surgery, *file.many["dates"])
    ]
    return rows.with_columns(made).with_columns(moved)


def made_columns(file: MaskedFile) -> tuple[str, ...]:
    """Name the columns that the masking adds."""
    surgery = file.many["surgery_date"]
    names = ["surgery_year", "lock_day", *(["age_months"] if "birth_date" in file.one else [])]
    beside = [""] if len(surgery) == 1 else [f" {name}" for name in surgery]
    return tuple(f"{name}{suffix}" for suffix in beside for name in names) if surgery else ()
