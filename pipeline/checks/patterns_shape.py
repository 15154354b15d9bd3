"""One clinic beside the others: a value that stands nearly everywhere, values far from theirs."""

from collections.abc import Iterable, Iterator

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.proportions import wilson_limits
from pipeline.checks.patterns_digits import FROM_CATALOGUE, SEEN_SCHEMA, Row
from schemas.codebook import Variable
from schemas.rules.rule import Frames

# What the animals and their course are like; techniques are the house's own and shown as such.
ABOUT_ANIMALS = frozenset({"baseline", "outcome", "follow-up"})
MEASURED = ABOUT_ANIMALS | {"technique", "exposure"}
ONE_PER_CLINIC = frozenset({"lameness_scale"})
COUNTED_BY_DAYS = frozenset({"day", "year"})
FEW_STEPS = frozenset({"score", "class", "grade", "wires", "pieces", "knots", "turns"})
LOG_UNITS = frozenset({"kg", "mm", "month", "min"})
ENOUGH_ROWS, OTHER_CLINICS = 30, 2
Z_LIMITS, Z_FAR = 3.29, 4.0  # 99.9% limits; four standard errors
MOST_HERE, MOST_ELSEWHERE = 0.9, 0.75
NUMBER_HERE, TIMES_ELSEWHERE = 0.2, 4
FAR_SD, FAR_H, MAD_TO_SD, MEDIAN_SE = 1.0, 0.8, 1.4826, 1.2533


def one_value(tables: Frames, codebook: Iterable[Variable]) -> pl.DataFrame:
    """Give the clinic and variable where one value stands nearly everywhere, and not elsewhere."""
    seen: list[Row] = []
    for item, values in _of_interest(tables, codebook):
        here, elsewhere = (MOST_HERE, MOST_ELSEWHERE) if _is_coded(item) else (NUMBER_HERE, None)
        totals = values.group_by("clinic_id").agg(all=pl.len())
        counts = values.group_by("clinic_id", "value").agg(n=pl.len())
        common = counts.join(totals, on="clinic_id").filter(pl.col("n") >= here * pl.col("all"))
        for row in common.sort("clinic_id", "n", descending=[False, True]).iter_rows(named=True):
            same = counts.filter(pl.col("value") == row["value"]).drop("value")
            beside = totals.join(same, on="clinic_id", how="left").with_columns(
                pl.col("n").fill_null(0)
            ).sort("clinic_id")  # fmt: skip
            place = beside["clinic_id"].to_list().index(row["clinic_id"])
            limit = row["n"] / row["all"] / TIMES_ELSEWHERE if elsewhere is None else elsewhere
            if apart_from_others(beside, place, here=here, elsewhere=limit):
                word = item.codes.get(str(row["value"]), str(row["value"]))
                seen.append(_row(row["clinic_id"], item, f"{row['n']} of {row['all']}: {word}."))
    return _seen(seen)


def apart_from_others(counts: pl.DataFrame, place: int, *, here: float, elsewhere: float) -> bool:
    """Say whether the share of one clinic is high and that of every other clinic low.

    Parameters
    ----------
    counts
        One row per clinic: `n` of `all`. Clinics with few rows are not compared.
    place
        The row of the clinic that is judged.
    """
    n, total = counts["n"].to_numpy(), counts["all"].to_numpy()
    others = (np.arange(len(n)) != place) & (total >= ENOUGH_ROWS)
    if total[place] < ENOUGH_ROWS or others.sum() < OTHER_CLINICS:
        return False
    share = n / np.maximum(total, 1)
    highest = int(np.argmax(np.where(others, share, -1)))
    low, _ = wilson_limits(float(share[place]), float(total[place]), Z_LIMITS)
    _, high = wilson_limits(float(share[highest]), float(total[highest]), Z_LIMITS)
    return bool(share[place] >= here and share[highest] <= elsewhere and low > high)


def far_away(tables: Frames, codebook: Iterable[Variable]) -> pl.DataFrame:
    """Give the clinic and variable whose values are far from those of the other clinics."""
    seen: list[Row] = []
    for item, values in _of_interest(tables, codebook):
        clinics = values.sort("clinic_id").group_by("clinic_id", maintain_order=True)
        groups = {str(key[0]): rows["value"] for key, rows in clinics if rows.height >= ENOUGH_ROWS}
        if len(groups) <= OTHER_CLINICS:
            continue
        for clinic, own in groups.items():
            others = {name: rows for name, rows in groups.items() if name != clinic}
            told = _share_apart(item, own, others) if _is_coded(item) else _median_apart(
                item, own, others)  # fmt: skip
            if told:
                seen.append(_row(clinic, item, told))
    return _seen(seen)


def _median_apart(item: Variable, own: pl.Series, others: dict[str, pl.Series]) -> str:
    mine, theirs = _scaled(item, own), [_scaled(item, rows) for rows in others.values()]
    medians = np.array([np.median(rows) for rows in theirs])
    # Each about its own median, so that clinics may differ among themselves.
    spread = np.concatenate([rows - middle for rows, middle in zip(theirs, medians, strict=True)])
    sd = MAD_TO_SD * float(np.median(np.abs(spread)))
    difference = float(np.median(mine)) - float(np.median(medians))
    error = MEDIAN_SE * sd * np.sqrt(1 / len(mine) + 1 / len(spread))
    if sd == 0 or abs(difference) <= max(FAR_SD * sd, Z_FAR * error):
        return ""
    way = "above" if difference > 0 else "below"
    return f"The middle value is {own.median():.4g}, far {way} that of the others."


def _share_apart(item: Variable, own: pl.Series, others: dict[str, pl.Series]) -> str:
    """Give the value whose share differs most, by the angle of its root (Cohen's h)."""
    best, told = 0.0, ""
    for value in sorted(set(own.to_list()).union(*(rows.to_list() for rows in others.values()))):
        mine = float((own == value).mean() or 0)
        theirs = float(np.median([float((rows == value).mean() or 0) for rows in others.values()]))
        h = abs(2 * np.arcsin(np.sqrt(mine)) - 2 * np.arcsin(np.sqrt(theirs)))
        error = np.sqrt(1 / len(own) + 1 / sum(len(rows) for rows in others.values()))
        if h >= max(FAR_H, Z_FAR * error, best):
            count = int((own == value).sum())
            word = item.codes.get(str(value), str(value))
            many = "more" if mine > theirs else "less"
            best = h
            told = f"{count} of {len(own)} are {word}, far {many} than elsewhere."
    return told


def _scaled(item: Variable, rows: pl.Series) -> FloatArray:
    numbers = rows.cast(pl.Float64).to_numpy()
    return np.log(numbers[numbers > 0]) if item.unit in LOG_UNITS else numbers


def _of_interest(tables: Frames, codebook: Iterable[Variable]
                 ) -> Iterator[tuple[Variable, pl.DataFrame]]:  # fmt: skip
    """Give what is compared between clinics: of no table in which they are too few for that."""
    compared = {name for name, frame in tables.items()
                if frame["clinic_id"].n_unique() > OTHER_CLINICS}  # fmt: skip
    for item in codebook:
        roles = ABOUT_ANIMALS if _is_coded(item) else MEASURED
        number = item.kind in {"int", "float"} and item.unit not in COUNTED_BY_DAYS
        left_out = item.name in ONE_PER_CLINIC | FROM_CATALOGUE or item.table == "measurements"
        if item.table not in compared or item.role not in roles or left_out:
            continue
        if number or _is_coded(item):
            yield item, tables[item.table].select("clinic_id", value=pl.col(item.name)).drop_nulls()


def _is_coded(item: Variable) -> bool:
    return bool(item.codes) or item.kind == "bool" or item.unit in FEW_STEPS


def _row(clinic: str, item: Variable, detail: str) -> Row:
    return {"clinic_id": clinic, "table": item.table, "variable": item.name, "detail": detail}


def _seen(rows: list[Row]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=SEEN_SCHEMA).unique(
        ["clinic_id", "table", "variable"], keep="first", maintain_order=True
    )
