"""Accepted canonical tables of any size, made column by column.

Three rechecks and 0.3 complications a stifle; seeded. What is drawn is invented and only of the
right shape: every clause of the cohort meets rows.
"""

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np
import polars as pl

from schemas.codebook import CANONICAL_TABLES, by_name, of_table, read_codebook

CODEBOOK = read_codebook()
KNOWN = by_name(CODEBOOK)
CLINICS = [f"clinic{place:02d}" for place in range(15)]
START, LOCK = date(2012, 1, 1), date(2024, 12, 31)
SPAN = (LOCK - START).days
DAY = pl.Int64()


class Draw:
    """Random columns of one length."""

    def __init__(self, rng: np.random.Generator, rows: int) -> None:
        self._rng, self.rows = rng, rows

    def codes(self, choices: Iterable[object], weights: Sequence[float] | None = None) -> pl.Series:
        """Draw from `choices`; the last has what the weights leave."""
        drawn = list(choices)
        chance = None if weights is None else [*weights, 1 - sum(weights)]
        return pl.Series(drawn).gather(self._rng.choice(len(drawn), self.rows, p=chance))

    def whole(self, low: int, high: int) -> pl.Series:
        """Draw whole numbers from `low` to below `high`."""
        return pl.Series(self._rng.integers(low, high, self.rows), dtype=DAY)

    def some(self, share: float) -> pl.Series:
        """Mark a share of the rows."""
        return pl.Series(self._rng.random(self.rows) < share)

    def between(self, low: float, high: float) -> pl.Series:
        """Draw numbers to one decimal."""
        return pl.Series(np.round(self._rng.uniform(low, high, self.rows), 1))


def big_tables(stifles: int, seed: int = 1) -> dict[str, pl.DataFrame]:
    """Make accepted tables of about `stifles` joints, three in ten animals operated on both."""
    rng = np.random.default_rng([seed, stifles])
    animals = _animals(rng, round(stifles / 1.3))
    joints = _joints(rng, animals, stifles)
    made = {
        "clinics": _clinics(),
        "animals": animals.drop("both"),
        "stifles": joints,
        "procedures": _procedures(rng, joints),
        "rechecks": _rechecks(rng, joints),
        "complications": _complications(rng, joints),
        "revisions": _revisions(rng, joints),
    }
    return {name: _accepted(name, made.get(name)) for name in CANONICAL_TABLES}


def _accepted(name: str, frame: pl.DataFrame | None) -> pl.DataFrame:
    """Give every column of the codebook, blank where nothing was drawn, and the address."""
    types = {item.name: item.dtype for item in of_table(CODEBOOK, name)}
    frame = pl.DataFrame(schema=types) if frame is None else frame
    number = pl.int_range(2, pl.len() + 2, dtype=pl.Int64)
    return frame.select(
        pl.format("{}/{}/{}", "clinic_id", pl.lit(name), number).alias("row_id"),
        file=pl.lit("drawn.csv"), sheet=pl.lit(""), row=number, block=pl.lit(""),
        **{item: pl.col(item).cast(kind) if item in frame.columns else pl.lit(None, kind)
           for item, kind in types.items()},
        derived=pl.lit(value=False),
    )  # fmt: skip


def _clinics() -> pl.DataFrame:
    return pl.DataFrame({"clinic_id": CLINICS}).with_columns(
        accrual_start=pl.lit(START), accrual_end=pl.lit(LOCK), data_lock_date=pl.lit(LOCK),
        dates_shifted=pl.col("clinic_id") == CLINICS[-1], clinic_type=pl.lit("referral"),
    )  # fmt: skip


def _animals(rng: np.random.Generator, animals: int) -> pl.DataFrame:
    draw = Draw(rng, animals)
    number = pl.int_range(animals, eager=True)
    return pl.DataFrame({"clinic_id": draw.codes(CLINICS), "number": number}).with_columns(
        pl.format("A-{}", pl.col("number").cast(pl.String).str.zfill(7)).alias("local_animal"),
        # One in a hundred is the animal before it, known elsewhere under another code.
        link_token=pl.when(draw.some(0.98)).then(
            pl.format("token{}", pl.col("number") - draw.some(0.01).cast(DAY))),
        species=draw.codes(("dog", "cat"), [0.95]),
        breed=draw.codes([f"breed {place}" for place in range(40)]),
        sex_neuter=draw.codes(KNOWN["sex_neuter"].codes),
        death_cause=draw.codes(("stifle_related", "unrelated", None), [0.002, 0.05]),
        both=draw.some(0.3),
    ).drop("number")  # fmt: skip


def _joints(rng: np.random.Generator, animals: pl.DataFrame, stifles: int) -> pl.DataFrame:
    keys = animals.select("clinic_id", "local_animal", "both")
    left = keys.with_columns(side=pl.lit("left"))
    right = keys.filter("both").with_columns(side=pl.lit("right"))
    joints = pl.concat([left, right]).head(stifles)
    draw = Draw(rng, joints.height)
    end = pl.Series(np.minimum(rng.exponential(500, joints.height).astype(int), SPAN))
    return joints.with_columns(
        pl.format("{}:{}", "local_animal", "side").alias("local_stifle"),
        surgery_date=pl.lit(START) + pl.duration(days=pl.lit(draw.whole(0, SPAN))),
        age_months=draw.between(6, 120), weight_kg=draw.between(1.5, 45),
        luxation_direction=draw.codes(
            ("medial", "lateral", "bidirectional", None), [0.9, 0.06, 0.03]
        ),
        grade_preop=draw.codes((1, 2, 3, 4, None), [0.04, 0.45, 0.4, 0.1]),
        aetiology=draw.codes(("developmental", "after_other_stifle_surgery"), [0.99]),
        previous_stifle_surgery=draw.codes(("none", "patellar", "cruciate"), [0.95, 0.03]),
        end_status=draw.codes(("lost", "under_follow_up", "died", "euthanised", "amputated"),
                              [0.6, 0.3, 0.05, 0.04]),
        end=end,
    ).with_columns(
        lock_day=(pl.lit(LOCK) - pl.col("surgery_date")).dt.total_days(),
        surgery_year=pl.col("surgery_date").dt.year(),
    ).with_columns(end_of_followup_day=pl.min_horizontal("end", "lock_day"))  # fmt: skip


def _procedures(rng: np.random.Generator, joints: pl.DataFrame) -> pl.DataFrame:
    draw = Draw(rng, joints.height)
    return joints.select("clinic_id", "local_stifle").with_columns(
        sulcoplasty_type=draw.codes(KNOWN["sulcoplasty_type"].codes),
        ttt_done=draw.some(0.8), kwire_count=draw.whole(0, 3),
        kwire_diameter_mm=draw.between(0.8, 2),
        ttt_fixation=draw.codes(KNOWN["ttt_fixation"].codes),
        tension_band_done=draw.some(0.5), osteotomy_depth_mm=draw.between(2, 9),
        tibial_depth_mm=draw.between(10, 30), medial_release=draw.codes(("none", "retinaculum")),
        lateral_imbrication=draw.some(0.6), antirotational_suture=draw.some(0.1),
        femoral_osteotomy=draw.codes(("none", "closing_wedge"), [0.95]),
        cruciate_procedure=draw.codes(("none", "extracapsular_suture", "other"), [0.93, 0.05]),
        groove_depth_pre_mm=draw.between(0.5, 3), groove_depth_post_mm=draw.between(1, 5),
    )  # fmt: skip


def _rows_of(rng: np.random.Generator, joints: pl.DataFrame, rows: int) -> pl.DataFrame:
    """Draw joints with repetition, in random order, each row on a day of its follow-up."""
    keys = joints.select("clinic_id", "local_stifle", "end_of_followup_day")
    drawn = keys.select(pl.all().gather(rng.integers(0, keys.height, rows)))
    return drawn.with_columns(day=(pl.col("end_of_followup_day") * rng.random(rows)).cast(DAY))


def _rechecks(rng: np.random.Generator, joints: pl.DataFrame) -> pl.DataFrame:
    rows = _rows_of(rng, joints, 3 * joints.height)
    draw = Draw(rng, rows.height)
    ways = ("medial", "lateral", "bidirectional", None)
    return rows.with_columns(
        recheck_day=pl.col("day"),
        recheck_mode=draw.codes(KNOWN["recheck_mode"].codes, [0.6, 0.15, 0.15, 0.05]),
        unscheduled=draw.some(0.1),
        patella_grade=draw.codes((0, 1, 2, 3, None), [0.8, 0.02, 0.02, 0.01]),
        patella_direction=draw.codes(ways, [0.05, 0.01, 0.01]), lameness_score=draw.whole(0, 4),
        function_class=draw.codes(KNOWN["function_class"].codes),
        osteotomy_healing=draw.codes(("none", "partial", "complete", None), [0.1, 0.2, 0.4]),
        radiographs_taken=draw.some(0.5),
    )  # fmt: skip


def _complications(rng: np.random.Generator, joints: pl.DataFrame) -> pl.DataFrame:
    rows = _rows_of(rng, joints, 3 * joints.height // 10)
    draw = Draw(rng, rows.height)
    return rows.with_columns(
        complication_no=pl.lit(1), complication_type=draw.codes(KNOWN["complication_type"].codes),
        detected_day=pl.col("day"), last_negative_day=pl.col("day") - draw.whole(0, 90),
        intraoperative=draw.some(0.03), detected_by=draw.codes(KNOWN["detected_by"].codes),
        severity_class=draw.codes(KNOWN["severity_class"].codes),
        treatment=draw.codes(KNOWN["treatment"].codes),
        ssi_depth=draw.codes((*KNOWN["ssi_depth"].codes, None)),
    )  # fmt: skip


def _revisions(rng: np.random.Generator, joints: pl.DataFrame) -> pl.DataFrame:
    rows = _rows_of(rng, joints, joints.height // 20)
    draw = Draw(rng, rows.height)
    return rows.with_columns(
        revision_no=pl.lit(1), revision_day=pl.col("day"),
        revision_reason=draw.codes(KNOWN["revision_reason"].codes),
    )  # fmt: skip
