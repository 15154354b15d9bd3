"""A small invented study that breaks no rule, and changes to it that do."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

import polars as pl
import pytest

from pipeline.intake.mapped import (
    ADDRESS,
    COLUMN_SCHEMA,
    LEDGER_SCHEMA,
    MISSING_SCHEMA,
    RAW,
    SET_ASIDE_SCHEMA,
    Mapped,
)
from schemas.codebook import CANONICAL_TABLES, Variable, of_table, read_codebook
from schemas.findings import findings

Rows = dict[str, list[dict[str, Any]]]
Build = Callable[..., Mapped]

DOG = {"clinic_id": "north", "species": "dog", "breed": "Beagle", "sex_neuter": "female_entire"}
STIFLE = {
    "clinic_id": "north", "age_months": 30, "weight_kg": 12.0, "luxation_direction": "medial",
    "grade_preop": 2, "cruciate_status": "intact", "previous_stifle_surgery": "none",
    "end_of_followup_day": 400, "end_status": "discharged",
}  # fmt: skip
PROCEDURE = {
    "clinic_id": "north", "surgeon_id": "S1", "sulcoplasty_type": "block_recession",
    "ttt_done": True, "ttt_direction": "lateral", "osteotomy_depth_mm": 8.0,
    "tibial_depth_mm": 24.0, "distal_bridge": "intact", "ttt_fixation": "k_wire_tension_band",
    "kwire_count": 2,
    "kwire_arrangement": "side_by_side", "kwire_diameter_mm": 1.2, "tension_band_done": True,
    "tb_pattern": "figure_of_eight", "tb_wire_diameter_mm": 0.8, "femoral_osteotomy": "none",
    "groove_depth_pre_mm": 2.0, "groove_depth_post_mm": 4.0, "cruciate_procedure": "none",
}  # fmt: skip
RECHECK = {"clinic_id": "north", "recheck_mode": "operating_clinic", "patella_grade": 0,
           "lameness_score": 1}  # fmt: skip
EVENT = {"clinic_id": "north", "complication_no": 1, "severity_class": "minor", "treatment": "none"}
LEFT, RIGHT, OTHER = "A-1:left", "A-1:right", "A-2:left"


def clean_rows() -> Rows:
    """Two dogs: A-1 operated left in 2020 and right in 2021, A-2 left in 2022, with a seroma."""
    return {
        "clinics": [{
            "clinic_id": "north", "clinic_type": "referral", "accrual_start": date(2015, 1, 1),
            "accrual_end": date(2023, 12, 31), "data_lock_date": date(2024, 6, 30),
            "dates_shifted": False, "case_finding": "theatre_log", "n_screened": 40,
        }],
        "animals": [DOG | {"local_animal": "A-1"},
                    DOG | {"local_animal": "A-2", "breed": "Pug", "sex_neuter": "male_neutered"}],
        "stifles": [
            STIFLE | {"local_animal": "A-1", "local_stifle": LEFT, "side": "left",
                      "surgery_date": date(2020, 3, 14), "end_of_followup_day": 700},
            STIFLE | {"local_animal": "A-1", "local_stifle": RIGHT, "side": "right",
                      "surgery_date": date(2021, 3, 14), "age_months": 42},
            STIFLE | {"local_animal": "A-2", "local_stifle": OTHER, "side": "left",
                      "surgery_date": date(2022, 5, 20)},
        ],
        "procedures": [PROCEDURE | {"local_stifle": name} for name in (LEFT, RIGHT, OTHER)],
        "rechecks": [RECHECK | {"local_stifle": name, "recheck_day": day}
                     for name in (LEFT, RIGHT, OTHER) for day in (42, 180)],
        "complications": [EVENT | {"local_stifle": OTHER, "complication_type": "seroma",
                                   "detected_day": 10}],
    }  # fmt: skip


@pytest.fixture(scope="session")
def codebook() -> tuple[Variable, ...]:
    return read_codebook()


@pytest.fixture(scope="session")
def build(codebook: tuple[Variable, ...]) -> Build:
    def mapped(
        changes: Mapping[str, Mapping[int, Mapping[str, Any]]] | None = None,
        *,
        more: Mapping[str, Sequence[Mapping[str, Any]]] | None = None,
        raw: Mapping[str, str] | None = None,
        missing: Sequence[Mapping[str, str]] = (),
        found: Sequence[Mapping[str, Any]] = (),
    ) -> Mapped:
        """Map the clean rows, some changed, some added, some cells with another raw text."""
        rows = clean_rows()
        for table, by_place in (changes or {}).items():
            for place, values in by_place.items():
                rows[table][place] = rows[table][place] | dict(values)
        for table, added in (more or {}).items():
            rows.setdefault(table, []).extend(dict(row) for row in added)
        tables = {name: _table(name, rows.get(name, []), codebook, raw or {})
                  for name in CANONICAL_TABLES}  # fmt: skip
        return _mapped(tables, missing, found)

    return mapped


def _table(name: str, rows: Sequence[Mapping[str, Any]], codebook: tuple[Variable, ...],
           raw: Mapping[str, str]) -> pl.DataFrame:  # fmt: skip
    variables = of_table(codebook, name)
    schema: dict[str, pl.DataType] = {
        **ADDRESS, **{item.name: item.dtype for item in variables},
        **{RAW + item.name: pl.String() for item in variables},
    }  # fmt: skip
    filled: list[dict[str, Any]] = []
    for place, row in enumerate(rows):
        row_id = f"{row['clinic_id']}/{name}/{place + 1}"
        address = {"row_id": row_id, "file": f"{name}.csv", "sheet": "", "row": place + 2,
                   "block": ""}  # fmt: skip
        texts = {RAW + item.name: raw.get(f"{row_id}/{item.name}", _text(row.get(item.name)))
                 for item in variables}  # fmt: skip
        filled.append(address | dict(row) | texts)
    return pl.DataFrame(filled, schema=schema, orient="row")


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _mapped(tables: Mapping[str, pl.DataFrame], missing: Sequence[Mapping[str, str]],
            found: Sequence[Mapping[str, Any]]) -> Mapped:  # fmt: skip
    headers = [
        {"clinic_id": clinic, "file": f"{table}.csv", "sheet": "", "table": table, "block": "",
         "variable": name, "column": name.replace("_", " ").capitalize()}
        for table, frame in tables.items() for clinic in ("north", "south")
        for name in frame.columns if name not in ADDRESS and not name.startswith(RAW)
    ]  # fmt: skip
    ledger = [
        {"clinic_id": clinic, "file": f"{table}.csv", "sheet": "", "source_rows": n, "mapped": n,
         "set_aside": 0, "unreadable": 0}
        for table, frame in tables.items() if table != "clinics"
        for clinic, n in frame.group_by("clinic_id", maintain_order=True).len().iter_rows()
    ]  # fmt: skip
    return Mapped(
        tables=tables, columns=pl.DataFrame(headers, schema=dict(COLUMN_SCHEMA), orient="row"),
        missing=pl.DataFrame(list(missing), schema=dict(MISSING_SCHEMA), orient="row"),
        findings=findings(found), set_aside=pl.DataFrame(schema=dict(SET_ASIDE_SCHEMA)),
        ledger=pl.DataFrame(ledger, schema=dict(LEDGER_SCHEMA), orient="row"),
    )  # fmt: skip
