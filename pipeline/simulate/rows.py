"""Arrays of one network put into rows: clinics, animals, stifles and procedures."""

from datetime import timedelta

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import (
    BREEDS,
    CRUCIATE,
    DIRECTIONS,
    EARLIER,
    SESSIONS,
    SEXES,
    SIDES,
    SPECIES,
    Baseline,
)  # fmt: skip
from pipeline.simulate.clinics import CLINIC_IDS, CLINICS, EPOCH
from pipeline.simulate.draws import labels
from pipeline.simulate.ending import DIED, EUTHANISED, STATUSES, Ending
from pipeline.simulate.technique import (
    BRIDGES,
    FEMORAL,
    RELEASES,
    REPAIRS,
    SULCOPLASTY,
    Technique,
)  # fmt: skip

CODES = ("N-{:04d}", "{:05d}", "L{:04d}", "H2{:04d}", "E/{:04d}")
BLANK = pl.lit(None)


def local_animals(baseline: Baseline) -> list[str]:
    """Give every stifle its animal's code in the clinic's own style, in order of first surgery."""
    first_day = baseline.day[baseline.first]
    codes: dict[int, str] = {}
    counts = [103, 316, 11, 7, 220]
    for row in np.lexsort((baseline.animal, first_day)):
        animal, clinic = int(baseline.animal[row]), int(baseline.clinic[row])
        if animal not in codes:
            counts[clinic] += 1
            codes[animal] = CODES[clinic].format(counts[clinic])
    return [codes[int(animal)] for animal in baseline.animal]


def clinic_rows() -> pl.DataFrame:
    """One row per clinic."""
    return pl.DataFrame({
        "clinic_id": CLINIC_IDS,
        "clinic_type": [item.kind for item in CLINICS],
        "country_code": [item.country_code for item in CLINICS],
        "accrual_start": [item.first_day for item in CLINICS],
        "accrual_end": [item.last_day for item in CLINICS],
        "data_lock_date": [item.lock for item in CLINICS],
        "dates_shifted": [False] * len(CLINICS),
        "case_finding": [item.case_finding for item in CLINICS],
        "n_screened": [item.n_screened for item in CLINICS],
        "routine_recheck_day": [42] * len(CLINICS),
    })  # fmt: skip


def animal_rows(keys: pl.DataFrame, baseline: Baseline, ending: Ending) -> pl.DataFrame:
    """One row per animal; a cause of death where one is dead."""
    dead = np.isin(ending.status, (DIED, EUTHANISED))
    cause = np.where(ending.cause_known, "unrelated", "unknown")
    return (
        keys.select("clinic_id", "local_animal").with_columns(
            species=pl.Series(labels(baseline.cat.astype(np.int64), SPECIES)),
            breed=pl.Series(labels(baseline.breed, [name for name, _, _ in BREEDS])),
            sex_neuter=pl.Series(labels(baseline.sex, SEXES)),
            death_cause=pl.Series([str(why) if gone else None for why, gone
                                   in zip(cause, dead, strict=True)]),
        ).unique("local_animal", keep="first", maintain_order=True)
    )  # fmt: skip


def stifle_rows(keys: pl.DataFrame, baseline: Baseline, ending: Ending) -> pl.DataFrame:
    """One row per operated stifle."""
    return keys.with_columns(
        side=pl.Series(labels(baseline.side, SIDES)),
        surgery_date=pl.Series([EPOCH + timedelta(days=int(day)) for day in baseline.day]),
        session_type_reported=pl.Series(labels(baseline.session, SESSIONS)),
        age_months=pl.Series(baseline.age_months),
        weight_kg=pl.Series(baseline.weight_kg),
        bcs=pl.Series(baseline.bcs),
        luxation_direction=pl.Series(labels(baseline.direction, DIRECTIONS)),
        grade_preop=pl.Series(baseline.grade),
        lameness_preop=pl.Series(baseline.lameness),
        lameness_scale=pl.lit("zero_to_five"),
        cruciate_status=pl.Series(labels(baseline.cruciate, CRUCIATE)),
        previous_stifle_surgery=pl.Series(labels(baseline.earlier, EARLIER)),
        end_of_followup_day=pl.Series(ending.day),
        end_status=pl.Series(labels(ending.status, STATUSES)),
    )


def procedure_rows(keys: pl.DataFrame, baseline: Baseline, technique: Technique) -> pl.DataFrame:
    """One row per index operation; fields of a transposition are blank without one."""
    clinic = [CLINICS[code] for code in baseline.clinic]
    surgeon = list(zip(clinic, technique.surgeon, strict=True))
    rows = keys.select("clinic_id", "local_stifle").with_columns(
        surgeon_id=pl.Series([item.surgeons[code] for item, code in surgeon]),
        surgeon_level=pl.Series([item.levels[code] for item, code in surgeon]),
        sulcoplasty_type=pl.Series(labels(technique.sulcoplasty, SULCOPLASTY)),
        groove_depth_pre_mm=pl.Series(technique.groove_before_mm),
        groove_depth_post_mm=pl.Series(technique.groove_after_mm),
        ttt_done=pl.Series(technique.ttt),
        medial_release=pl.Series(labels(technique.release, RELEASES)),
        lateral_imbrication=pl.Series(technique.imbrication),
        antirotational_suture=pl.Series(technique.suture),
        femoral_osteotomy=pl.Series(labels(technique.femoral, FEMORAL)),
        cruciate_procedure=pl.Series(labels(technique.repair, REPAIRS)),
    )
    grooved = pl.col("sulcoplasty_type") != "none"
    return rows.with_columns(
        groove_depth_post_mm=pl.when(grooved).then("groove_depth_post_mm"),
        **_transposition(baseline, technique),
    )


def _transposition(baseline: Baseline, technique: Technique) -> dict[str, pl.Expr]:
    moved = pl.lit(pl.Series(technique.ttt))
    pinned = pl.lit(pl.Series(technique.pinned))
    banded = pl.lit(pl.Series(technique.pinned & technique.band))
    fixation = pl.when(banded).then(pl.lit("k_wire_tension_band")).otherwise(
        pl.when(pinned).then(pl.lit("k_wire")).otherwise(pl.lit("screw"))
    )  # fmt: skip

    def of(values: FloatArray) -> pl.Expr:
        return pl.lit(pl.Series(values))

    away = labels(1 - baseline.direction, DIRECTIONS)
    return {
        "ttt_direction": pl.when(moved).then(pl.lit(pl.Series(away))),
        "transposition_mm": pl.when(moved).then(of(technique.transposition_mm)),
        "osteotomy_depth_mm": pl.when(moved).then(of(technique.osteotomy_mm)),
        "tibial_depth_mm": pl.when(moved).then(of(technique.tibial_mm)),
        "distal_bridge": pl.when(moved).then(pl.lit(pl.Series(labels(technique.bridge, BRIDGES)))),
        "ttt_fixation": pl.when(moved).then(fixation),
        "kwire_count": pl.when(pinned).then(pl.lit(pl.Series(1 + technique.two_wires))),
        "kwire_diameter_mm": pl.when(pinned).then(of(technique.wire_mm)),
        "tension_band_done": pl.when(moved).then(banded),
        "tb_pattern": pl.when(banded).then(pl.lit("figure_of_eight")),
        "tb_wire_diameter_mm": pl.when(banded).then(of(technique.band_mm)),
    }
