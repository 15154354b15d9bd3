"""Small invented studies for tests: a joint with its course, put into accepted tables."""

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.cohort import Cohort, build_cohort
from pipeline.intake.mapped import MARK_SCHEMA
from pipeline.link import link
from pipeline.linked import Linked
from pipeline.study import Comparison, Eligibility, Outcomes, Privacy, Statements, Study
from schemas.codebook import CANONICAL_TABLES, of_table, read_codebook

Row = dict[str, Any]
Tables = dict[str, pl.DataFrame]
CODEBOOK = read_codebook()
DAY_0 = date(2020, 1, 1)
LOCK = date(2024, 12, 31)
HOLDS = ("clinic_id", "local_stifle", "target", "rule")
ANIMAL = {"species": "dog", "breed": "crossbreed", "sex_neuter": "female_neutered"}
STIFLE = {
    "age_months": 30.0, "weight_kg": 8.0, "luxation_direction": "medial", "grade_preop": 2,
    "cruciate_status": "intact", "previous_stifle_surgery": "none", "end_status": "lost",
}  # fmt: skip
PROCEDURE = {
    "surgeon_id": "S1", "sulcoplasty_type": "block_recession", "ttt_done": True,
    "ttt_fixation": "k_wire", "kwire_count": 2, "kwire_diameter_mm": 1.0,
    "tension_band_done": False, "distal_bridge": "intact", "femoral_osteotomy": "none",
}  # fmt: skip
CLINIC = {
    "clinic_type": "referral", "accrual_start": date(2015, 1, 1), "accrual_end": LOCK,
    "data_lock_date": LOCK, "dates_shifted": False, "case_finding": "theatre_log",
    "n_screened": 10, "routine_recheck_day": 42,
}  # fmt: skip


def visit(day: int, grade: int | None = 0, **values: Any) -> Row:
    """A recheck at the operating clinic."""
    return {"recheck_day": day, "patella_grade": grade, "recheck_mode": "operating_clinic"} | values


def call(day: int) -> Row:
    """A telephone call."""
    return visit(day, None, recheck_mode="telephone")


def event(kind: str, day: int, **values: Any) -> Row:
    """A complication, minor and untreated unless said otherwise."""
    return {"complication_type": kind, "detected_day": day, "severity_class": "minor",
            "treatment": "none", "intraoperative": False} | values  # fmt: skip


def revision(reason: str, day: int) -> Row:
    """A later operation."""
    return {"revision_reason": reason, "revision_day": day}


def implant(kind: str, removed: int | None = None, reason: str | None = None) -> Row:
    """One implant piece."""
    return {"implant_type": kind, "implant_removed_day": removed, "implant_removal_reason": reason}


def joint(
    animal: str = "A1",
    side: str = "left",
    *,
    clinic: str = "north",
    on: date = DAY_0,
    token: str | None = None,
    course: Mapping[str, Sequence[Row]] | None = None,
    procedure: Row | None = None,
    **values: Any,
) -> Row:
    """One operated joint: `course` holds rechecks, complications, revisions and implants."""
    happened = {"rechecks": [], "complications": [], "revisions": [], "implants": []}
    happened |= {name: list(rows) for name, rows in (course or {}).items()}
    last = max([row.get(day) or 0 for rows in happened.values() for row in rows for day in row
                if day.endswith("_day")], default=0)  # fmt: skip
    own = {name: value for name, value in values.items() if name in ANIMAL or name == "death_cause"}
    rest = {name: value for name, value in values.items() if name not in own}
    codes = {"clinic_id": clinic, "local_animal": animal, "link_token": token}
    return {
        "key": {"clinic_id": clinic, "local_stifle": f"{animal}:{side}"},
        "animals": [codes | ANIMAL | own],
        "stifles": [{"local_animal": animal, "side": side, "surgery_date": on,
                     "end_of_followup_day": last, **STIFLE, **rest}],
        "procedures": [PROCEDURE | (procedure or {})],
        **{name: [{f"{name[:-1]}_no": place, **row} for place, row in enumerate(rows, start=1)]
           for name, rows in happened.items()},
    }  # fmt: skip


def tables_of(*joints: Row, clinics: Mapping[str, Row] | None = None) -> Tables:
    """Put joints into accepted tables with every column of the codebook."""
    rows: dict[str, list[Row]] = {name: [] for name in CANONICAL_TABLES}
    for item in joints:
        for name in rows.keys() & item.keys():
            rows[name] += [item["key"] | row if name != "animals" else row for row in item[name]]
    names = sorted({item["key"]["clinic_id"] for item in joints})
    rows["clinics"] = [{"clinic_id": name, **CLINIC, **(clinics or {}).get(name, {})}
                       for name in names]  # fmt: skip
    return {name: _frame(name, found) for name, found in rows.items()}


def _frame(table: str, rows: list[Row]) -> pl.DataFrame:
    variables = {item.name: item.dtype for item in of_table(CODEBOOK, table)}
    frame = pl.DataFrame([{name: row.get(name) for name in variables} for row in rows],
                         schema=variables, orient="row")  # fmt: skip
    if table == "animals":
        frame = frame.unique(["clinic_id", "local_animal"], keep="first", maintain_order=True)
    return frame.with_row_index("row", offset=2).select(
        row_id=pl.format("{}/{}/{}", "clinic_id", pl.lit(table), "row"), file=pl.lit("made.csv"),
        sheet=pl.lit(""), row=pl.col("row").cast(pl.Int64), block=pl.lit(""),
        **{name: pl.col(name) for name in variables}, derived=pl.lit(value=False),
    )  # fmt: skip


def study_of(
    *, eligibility: Row | None = None, outcomes: Row | None = None, seed: int = 1
) -> Study:
    """A study with the protocol's defaults, but for what is given."""
    return Study(
        title="Invented", question="not stated", seed=seed, codebook_version="", folder=Path("."),
        eligibility=Eligibility(**(eligibility or {})), outcomes=Outcomes(**(outcomes or {})),
        comparison=Comparison(), privacy=Privacy(), statements=Statements(), analyses=(),
        clinics=(), raw={},
    )  # fmt: skip


def holds_of(*rows: tuple[str, str, str]) -> pl.DataFrame:
    """Holds by clinic, local stifle and target."""
    return pl.DataFrame([(*row, "R99") for row in rows], schema=dict.fromkeys(HOLDS, pl.String),
                        orient="row")  # fmt: skip


def planned(window_days: Mapping[str, int], variable: str = "recheck_day") -> pl.DataFrame:
    """Marks of planned days: the half width of each by row_id ("north/rechecks/2")."""
    rows = [
        {"clinic_id": row_id.split("/")[0], "table": row_id.split("/")[1], "row_id": row_id,
         "variable": variable, "mark": "nominal", "window_days": days}
        for row_id, days in window_days.items()
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=dict(MARK_SCHEMA), orient="row")


def linked_of(
    *joints: Row,
    clinics: Mapping[str, Row] | None = None,
    confirmed: frozenset[str] = frozenset(),
) -> Linked:
    """Link an invented study without holds."""
    return link(tables_of(*joints, clinics=clinics), holds_of(), confirmed=confirmed)


def cohort_of(
    *joints: Row,
    study: Study | None = None,
    holds: pl.DataFrame | None = None,
    clinics: Mapping[str, Row] | None = None,
    marks: pl.DataFrame | None = None,
) -> Cohort:
    """Build the cohort of an invented study."""
    held = holds_of() if holds is None else holds
    linked = link(tables_of(*joints, clinics=clinics), held, marks=marks)
    return build_cohort(linked, study or study_of())


def only(cohort: Cohort, stifle_id: str | None = None) -> Row:
    """Give the one row of the cohort, or that of a stifle."""
    table = cohort.table
    if stifle_id:
        table = table.filter(pl.col("stifle_id") == stifle_id)
    assert table.height == 1
    return table.row(0, named=True)


def outcome(**values: Any) -> Row:
    """Give the cohort row of one joint."""
    return only(cohort_of(joint(**values)))


def outcomes(*joints: Row, study: Study | None = None) -> list[Row]:
    """Give the cohort rows of several joints, each made an animal of its own, in their order."""
    apart: list[Row] = []
    for place, item in enumerate(joints, start=1):
        code = f"B{place:03d}"
        own = {"clinic_id": item["key"]["clinic_id"], "local_animal": code}
        apart.append(
            item
            | {"key": item["key"] | {"local_stifle": f"{code}:left"}}
            | {"animals": [row | own for row in item["animals"]]}
            | {"stifles": [row | {"local_animal": code} for row in item["stifles"]]}
        )
    return cohort_of(*apart, study=study).table.sort("local_animal").to_dicts()
