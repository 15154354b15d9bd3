"""Rechecks up to the data lock: what was found on each, and what that says of a stifle."""

import polars as pl

from pipeline.by_number import greatest, least, marked
from pipeline.linked import Below

WAYS = pl.Enum(["medial", "lateral", "bidirectional"])
FUNCTION = pl.Enum(["full", "acceptable", "unacceptable"])
TIME_FRAMES = ((1, 91), (92, 183), (184, 365))


def visits(rechecks: Below, joints: pl.DataFrame) -> pl.DataFrame:
    """Give one row per recheck up to the data lock of the index clinic: what was found.

    A referring clinic's rows after it are not seen: who is seen elsewhere later would otherwise
    be followed longer.

    Parameters
    ----------
    rechecks
        The rechecks, by number of their joint.
    joints
        One row per index stifle: admin_end_day.

    Returns
    -------
    DataFrame
        stifle_no, day, window_days (half width of a planned day, else 0); adequate: a visit after
        day 0 on which a veterinarian palpated the patella; grade, way (in which the patella was
        out); lame; healed; function_no (0 full, 1 acceptable, 2 unacceptable; after day 0).
    """
    palpated = (
        (pl.col("recheck_mode") == "operating_clinic")
        | (pl.col("recheck_mode") == "other_veterinarian")
    ) & pl.col("patella_grade").is_not_null()
    after = pl.col("recheck_day") >= 1
    function_no = pl.col("function_class").cast(FUNCTION).to_physical()
    known = rechecks.rows.select(
        day=pl.col("recheck_day").cast(pl.Int32),
        window_days=pl.col("window_days").fill_null(0).cast(pl.Int32),
        adequate=(palpated & after).fill_null(value=False),
        grade=pl.col("patella_grade").cast(pl.Int8),
        way=pl.col("patella_direction").cast(WAYS),
        lame=(pl.col("lameness_score") > 0).fill_null(value=False),
        healed=(pl.col("osteotomy_healing") == "complete").fill_null(value=False),
        function_no=pl.when(after).then(function_no),
    ).rechunk()
    stifle = rechecks.stifle_no.rechunk().cast(pl.Int64)
    lock = joints["admin_end_day"].cast(pl.Int32).gather(stifle)
    seen = stifle.is_not_null() & (known["day"] <= lock).fill_null(value=True)
    kept = known.with_columns(stifle_no=stifle)
    return kept if seen.all() else kept.filter(seen)


def luxated(seen: pl.DataFrame, joints: pl.DataFrame) -> pl.DataFrame:
    """Give the visits after day 0 on which a veterinarian found the patella out.

    Parameters
    ----------
    seen
        The visits.
    joints
        One row per index stifle: luxation_direction.

    Returns
    -------
    DataFrame
        stifle_no, day, window_days; reluxated: out in the direction of the original luxation; a
        blank direction counts as that one, and either direction where the original luxation went
        both ways; opposite: out the other way; important: grade II or more, or lame.
    """
    out = seen.filter(pl.col("adequate") & (pl.col("grade") >= 1))
    first = joints["luxation_direction"].gather(out["stifle_no"]).cast(WAYS)
    one_way = (first != "bidirectional").fill_null(value=False)
    other = one_way & (out["way"] != first).fill_null(value=False)
    return out.select(
        "stifle_no", pl.col("day", "window_days").cast(pl.Int64),
        reluxated=~(other & (out["way"] != "bidirectional").fill_null(value=False)),
        opposite=other,
        important=(pl.col("grade") >= 2) | pl.col("lame"),
    )  # fmt: skip


def visit_facts(seen: pl.DataFrame, n_stifles: int) -> pl.DataFrame:
    """Give one row per stifle: what its visits say of it.

    Returns
    -------
    DataFrame
        last_visit_day, last_adequate_day, surely_adequate_day (the first day of the latest
        window), adequate_91, _183, _365 (one in days 1-91, 92-183, 184-365), last_function_class
        and last_function_day (the latest day with a class, and the worst on it).
    """
    stifle, day, adequate = seen["stifle_no"], seen["day"], seen["adequate"]
    palpated, palpated_day = stifle.filter(adequate), day.filter(adequate)
    surely = palpated_day - seen["window_days"].filter(adequate)
    last_class = greatest(stifle, 4 * day + seen["function_no"], n_stifles)
    return pl.DataFrame({
        "last_visit_day": greatest(stifle, day, n_stifles),
        "last_adequate_day": greatest(palpated, palpated_day, n_stifles),
        "surely_adequate_day": greatest(palpated, surely, n_stifles),
        **{f"adequate_{last}": marked(
            palpated.filter((palpated_day >= first) & (palpated_day <= last)), n_stifles)
           for first, last in TIME_FRAMES},
        "last_function_class": (last_class % 4).cast(pl.UInt8).cat.to(FUNCTION),
        "last_function_day": last_class // 4,
    })  # fmt: skip


def union_days(seen: pl.DataFrame, n_stifles: int) -> pl.Series:
    """Give the first day on which union of the osteotomy was recorded."""
    healed = seen["healed"]
    return least(seen["stifle_no"].filter(healed), seen["day"].filter(healed), n_stifles)
