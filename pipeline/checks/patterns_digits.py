"""Last digits that people prefer, and the day of the month that stands for a month."""

from collections.abc import Iterable

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from pipeline.intake.mapped import RAW, raw_text
from schemas.codebook import Variable
from schemas.rules.rule import Frames

SEEN_SCHEMA = {"clinic_id": pl.String(), "table": pl.String(), "variable": pl.String(),
               "detail": pl.String()}  # fmt: skip
# Read off a scale, an image or a clock. Ages come from birthdays, days from a plan, diameters
# from a catalogue: their digits are not even.
READ_UNITS = frozenset({"kg", "mm", "min", "percent", "per measure"})
FROM_CATALOGUE = frozenset({"kwire_diameter_mm", "tb_wire_diameter_mm", "implant_diameter_mm"})
NUMBER = r"(\d[\d.,]*)"
ENOUGH_VALUES, DECADES, HIGHEST_SCORE = 100, 2, 20.0
MOST_DECIMALS = 3
ENOUGH_OPERATIONS, ONE_DAY_SHARE = 50, 0.15
Row = dict[str, str]


def uneven_digits(tables: Frames, codebook: Iterable[Variable]) -> pl.DataFrame:
    """Give the clinic and variable where last digits are uneven: columns of ``SEEN_SCHEMA``."""
    seen: list[Row] = []
    for item in codebook:
        read = item.unit in READ_UNITS and not item.codes and item.name not in FROM_CATALOGUE
        if not read or item.kind not in {"int", "float"} or item.table not in tables:
            continue
        frame = tables[item.table].filter(pl.col(item.name).is_not_null())
        if RAW + item.name not in frame.columns or not frame.height:
            continue
        by = ["clinic_id", "measure"] if item.table == "measurements" else ["clinic_id"]
        text = raw_text(item.name).str.extract(NUMBER)
        values = frame.select(*by, text=text, value=pl.col(item.name).cast(pl.Float64))
        seen += _of_variable(item, values.drop_nulls("text"), by)
    return pl.DataFrame(seen, schema=SEEN_SCHEMA).unique(
        ["clinic_id", "table", "variable"], keep="first", maintain_order=True
    )


def _of_variable(item: Variable, values: pl.DataFrame, by: list[str]) -> list[Row]:
    seen: list[Row] = []
    for key, rows in values.sort(by, maintain_order=True).group_by(by, maintain_order=True):
        written = as_written(rows["text"], rows["value"].to_numpy())
        digits = last_digits(written)
        if len(digits) >= ENOUGH_VALUES and preference_score(digits) > HIGHEST_SCORE:
            seen.append({"clinic_id": str(key[0]), "table": item.table, "variable": item.name,
                         "detail": _in_words(digits)})  # fmt: skip
    return seen


def as_written(texts: pl.Series, values: FloatArray) -> FloatArray:
    """Give numbers in the clinic's unit, whichever of point and comma is its decimal mark.

    The right reading is that whose ratio to the converted values is always the same; numbers
    that do not share it (two values in a cell, another unit) are left out.
    """
    best = np.array([])
    for decimal, group in ((".", ","), (",", ".")):
        plain = texts.str.replace_all(group, "", literal=True)
        plain = plain.str.replace(decimal, ".", literal=True)
        numbers = plain.cast(pl.Float64, strict=False).to_numpy()
        fits = np.isfinite(numbers) & (numbers > 0) & (values > 0)
        ratio = values[fits] / numbers[fits]
        if len(ratio):
            shared = np.abs(ratio / np.median(ratio) - 1) < 1e-3
            kept = numbers[fits][shared]
            best = kept if len(kept) > len(best) else best
    return best


def last_digits(numbers: FloatArray) -> FloatArray:
    """Give the last digit at the precision of the column; none where values are too close.

    The precision is the one that all but a twentieth of the numbers keep to. Digits are even
    only where values spread over whole decades of them.
    """
    for decimals in range(-1, MOST_DECIMALS + 1):
        scaled = numbers * 10.0**decimals
        if len(scaled) and (np.abs(scaled - np.round(scaled)) < 1e-6).mean() >= 0.95:
            low, high = np.quantile(scaled, (0.1, 0.9))
            spread = high - low >= 10 * DECADES
            return np.round(scaled) % 10 if spread else np.array([])
    return np.array([])


def preference_score(digits: FloatArray) -> float:
    """Give the digit preference score: 0 where all ten are as frequent, 100 where one is alone.

    Notes
    -----
    100 times the root of chi-square over (degrees of freedom times n), with 9 degrees [1]_.

    References
    ----------
    .. [1] Kuulasmaa K, Hense HW, Tolonen H. Quality assessment of data on blood pressure in the
       WHO MONICA Project. WHO MONICA e-publication 9, 1998.
    """
    counts = np.bincount(digits.astype(np.int64), minlength=10)
    expected = len(digits) / 10
    chi_square = float(((counts - expected) ** 2 / expected).sum())
    return 100 * float(np.sqrt(chi_square / (9 * len(digits))))


def one_day_of_month(tables: Frames) -> pl.DataFrame:
    """Give the clinics whose operations fall on one day of the month; a session counts once."""
    shifted = tables["clinics"].filter(pl.col("dates_shifted"))["clinic_id"].to_list()
    days = (
        tables["stifles"]
        .filter(pl.col("surgery_date").is_not_null(), ~pl.col("clinic_id").is_in(shifted))
        .unique(["clinic_id", "local_animal", "surgery_date"], maintain_order=True)
        .with_columns(day=pl.col("surgery_date").dt.day())
    )
    counts = days.group_by("clinic_id", "day").agg(n=pl.len()).with_columns(
        all=pl.col("n").sum().over("clinic_id")
    )  # fmt: skip
    found = counts.filter(
        pl.col("all") >= ENOUGH_OPERATIONS, pl.col("n") >= ONE_DAY_SHARE * pl.col("all")
    ).sort("clinic_id", "n", "day", descending=[False, True, False])
    return found.unique("clinic_id", keep="first", maintain_order=True).select(
        "clinic_id", table=pl.lit("stifles"), variable=pl.lit("surgery_date"),
        detail=pl.format("{} of {} are on day {}.", "n", "all", "day"),
    )  # fmt: skip


def _in_words(digits: FloatArray) -> str:
    counts = np.bincount(digits.astype(np.int64), minlength=10)
    halves = int(counts[0] + counts[5])
    if counts[0] and counts[5] and halves >= 0.4 * len(digits):
        return f"{halves} of {len(digits)} end in 0 or 5, where a fifth is to be expected."
    most = int(counts.argmax())
    return f"{counts[most]} of {len(digits)} end in {most}, where a tenth is to be expected."
