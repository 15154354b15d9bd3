"""A second operated stifle for the small studies, and what a check gave, in short."""

from collections.abc import Callable
from datetime import date
from typing import Any

import polars as pl

from pipeline.check import Checked
from pipeline.intake.mapped import Mapped
from schemas.codebook import Variable

Codebook = tuple[Variable, ...]
Build = Callable[..., Mapped]
OTHER = "A-2:left"
AT = {"clinic_id": "north", "local_stifle": OTHER}
VISIT = AT | {"recheck_mode": "operating_clinic", "patella_grade": 0, "lameness_score": 0}
SECOND = AT | {
    "local_animal": "A-2", "side": "left", "surgery_date": date(2022, 5, 20), "age_months": 30,
    "weight_kg": 9.0, "luxation_direction": "medial", "grade_preop": 2,
    "cruciate_status": "intact", "previous_stifle_surgery": "none", "end_of_followup_day": 400,
    "end_status": "discharged",
}  # fmt: skip


def found(checked: Checked, rule: str) -> dict[str, Any]:
    return checked.findings.filter(pl.col("rule") == rule).row(0, named=True)


def held(checked: Checked) -> set[tuple[str, str, str]]:
    return set(checked.holds.select("local_stifle", "target", "rule").rows())


def counts(checked: Checked, table: str) -> dict[str, int]:
    return checked.ledger_rows.filter(pl.col("table") == table).row(0, named=True)
