"""Text to numbers, dates and durations by a declared grammar; what does not fit gives null."""

import re
from collections.abc import Mapping, Sequence

import polars as pl

from pipeline.intake.sources import Grammar

MONTH_DAYS = 30.4375  # a twelfth of 365.25 days
# Canonical unit -> unit in the export -> factor. lb and inch are exact by definition.
UNITS_TO: Mapping[str, Mapping[str, float]] = {
    "kg": {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "oz": 0.45359237 / 16},
    "mm": {"mm": 1.0, "cm": 10.0, "inch": 25.4},
    "day": {"days": 1.0, "weeks": 7.0, "months": MONTH_DAYS, "years": 365.25},
    "month": {"days": 1 / MONTH_DAYS, "weeks": 7 / MONTH_DAYS, "months": 1.0, "years": 12.0},
    "min": {"min": 1.0, "hours": 60.0},
}
_ODD_SPACES = "[\u00a0\u2007\u2009\u202f]"
_WORKBOOK_DATE = r"^([0-9]{4}-[0-9]{2}-[0-9]{2})[ T][0-9]{2}:[0-9]{2}:[0-9]{2}"
_DATE_PARTS = {
    "DD": "(?<d>[0-9]{1,2})", "MMM": r"(?<n>\p{L}+)", "MM": "(?<m>[0-9]{1,2})",
    "YYYY": "(?<y>[0-9]{4})", "YY": "(?<c>[0-9]{2})",  # longer tokens stand before shorter ones
    "hh": "[0-9]{1,2}", "mm": "[0-9]{2}", "ss": "[0-9]{2}",  # a time of day is left out
}  # fmt: skip
_MIDDLE = "15"  # of a month whose day is not told, as of births


def tidy(text: pl.Expr) -> pl.Expr:
    """Trim, make every run of spaces one, and let blank be null."""
    text = text.cast(pl.String)  # the column may be coded
    plain = text.str.replace_all(_ODD_SPACES, " ").str.strip_chars().str.replace_all(r"\s+", " ")
    return pl.when(plain != "").then(plain)


def tidied(texts: pl.Series) -> pl.Series:
    """Do to a column what `tidy` does; texts of which each is one plain word stay as they are."""
    if texts.str.contains("^[!-~]+$").all():
        return texts
    return texts.to_frame("t").select(tidy(pl.col("t"))).to_series()


def read_numbers(texts: pl.Series, grammar: Grammar) -> pl.Series:
    """Read plain numbers: sign, digits in groups of three or none, one decimal mark; ".045"."""
    decimal, group = re.escape(grammar.decimal), re.escape(grammar.group)
    digits = f"(?:[0-9]+|[0-9]{{1,3}}(?:{group}[0-9]{{3}})+)" if group else "[0-9]+"
    text = pl.col("t")
    plain = text.str.replace_all(grammar.group, "", literal=True) if grammar.group else text
    value = (
        pl.when(text.str.contains(f"^[+-]?(?:{digits}(?:{decimal}[0-9]+)?|{decimal}[0-9]+)$"))
        .then(plain.str.replace(grammar.decimal, ".", literal=True))
    )  # fmt: skip
    if grammar.workbook:  # a real number in a workbook comes with a point, whatever the country
        value = (
            pl.when(text.str.contains(r"^-?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)$"))
            .then(text).otherwise(value)
        )  # fmt: skip
    return _apply(texts, value.cast(pl.Float64, strict=False))


def read_with_units(
    texts: pl.Series, grammar: Grammar, *, units: Mapping[str, str], factors: Mapping[str, float]
) -> pl.Series:
    """Read numbers followed by a unit, "4.5 kg" or "9 lb 6 oz"; each needs a known unit.

    Parameters
    ----------
    units
        Unit by the clinic's word for it; "gauge" stands for the clinic's table of wires.
    """
    number = _apply(texts, pl.col("t").str.extract(r"^(.*[0-9])\s*\D*$"))
    suffix = _apply(texts, pl.col("t").str.extract(r"[0-9]\s*(\D*)$").str.to_lowercase())
    known = {word: float(factors[unit]) for word, unit in units.items() if unit in factors}
    factor = suffix.replace_strict(known, default=None, return_dtype=pl.Float64)
    value = read_numbers(number, grammar) * factor
    others = texts.filter(value.is_null()).drop_nulls().unique()
    read = {text: _by_unit(text, grammar, units, factors) for text in others}
    return value.fill_null(texts.replace_strict(read, default=None, return_dtype=pl.Float64))


def _by_unit(
    text: str, grammar: Grammar, units: Mapping[str, str], factors: Mapping[str, float]
) -> float | None:
    """Read a gauge by the clinic's table, or a sum of amounts in different units."""
    gauge = re.fullmatch(r"(\S+?)\s*([^\W\d]*)", text)
    if gauge and units.get(gauge[2].lower()) == "gauge":
        return grammar.gauge_mm.get(gauge[1])
    return amount_of(amounts(text, grammar, units), factors)


def read_parts_of(texts: pl.Series, whole: int) -> pl.Series:
    """Read a score given as "5/9" or "5"; another whole is not understood."""
    pattern = rf"^([0-9]+)(?:\s*/\s*{whole})?$"
    return _apply(texts, pl.col("t").str.extract(pattern).cast(pl.Float64, strict=False))


def read_dates(texts: pl.Series, grammar: Grammar, formats: Sequence[str]) -> pl.Series:
    """Read dates in the first declared format that fits; a real date of a workbook always."""
    readings = [_date(pl.col("t"), form, grammar.months) for form in formats]
    if grammar.workbook:
        readings.insert(0, pl.col("t").str.extract(_WORKBOOK_DATE).str.to_date(strict=False))
    return _apply(texts, pl.coalesce(readings))


def _date(text: pl.Expr, form: str, months: Mapping[str, int]) -> pl.Expr:
    pattern = re.sub("|".join(_DATE_PARTS), lambda found: _DATE_PARTS[found[0]], re.escape(form))
    if form.isalpha():  # without marks between them, day and month have two digits each
        pattern = pattern.replace("{1,2}", "{2}")
    groups = text.str.extract_groups(f"^{pattern}$")
    year = groups.struct.field("y") if "<y>" in pattern else "20" + groups.struct.field("c")
    if "<n>" in pattern:
        month = (
            groups.struct.field("n").str.to_lowercase()
            .replace_strict(months, default=None, return_dtype=pl.Int64).cast(pl.String)
        )  # fmt: skip
    else:
        month = groups.struct.field("m")
    day = groups.struct.field("d").str.zfill(2) if "<d>" in pattern else pl.lit(_MIDDLE)
    iso = pl.concat_str(year, month.str.zfill(2), day, separator="-")
    return iso.str.to_date("%Y-%m-%d", strict=False)


def read_durations(texts: pl.Series, grammar: Grammar, factors: Mapping[str, float]) -> pl.Series:
    """Read "3y 2m", "6 wk" or "J15" by the clinic's unit words; every part must be known."""
    known = {
        text: amount_of(amounts(text, grammar, grammar.durations), factors)
        for text in texts.drop_nulls().unique()
    }
    return texts.replace_strict(known, default=None, return_dtype=pl.Float64)


def amounts(text: str, grammar: Grammar, units: Mapping[str, str]) -> list[tuple[float, str]]:
    """Read the amounts of a text with their units; none where a part of it is not understood."""
    number = rf"([0-9]+(?:{re.escape(grammar.decimal)}[0-9]+)?)"
    for pattern, unit_first in (
        (rf"{number}\s*([^\W\d]+)\.?", False),
        (rf"([^\W\d]+)\.?\s*{number}", True),
    ):
        parts = re.findall(pattern, text)
        rest = re.sub(pattern, "", text)
        if not parts or rest.strip(" ,+&"):
            continue
        pairs = [(two, one) if unit_first else (one, two) for one, two in parts]
        named = [units.get(word.lower(), "") for _, word in pairs]
        if all(named) and len(set(named)) == len(named):
            return [
                (float(amount.replace(grammar.decimal, ".")), unit)
                for (amount, _), unit in zip(pairs, named, strict=True)
            ]
    return []


def amount_of(parts: Sequence[tuple[float, str]], factors: Mapping[str, float]) -> float | None:
    """Add amounts up; nothing where there is none, or a unit has no factor."""
    if not parts or any(unit not in factors for _, unit in parts):
        return None
    return sum(amount * factors[unit] for amount, unit in parts)


def _apply(texts: pl.Series, expression: pl.Expr) -> pl.Series:
    return texts.rename("t").to_frame().select(expression.alias("t")).to_series()
