"""Eight stifles whose description can be worked out by hand, and the plan that asks for it."""

from pathlib import Path

import polars as pl

from pipeline.study import Study, read_study
from shared.estimate import Estimate

PLAN = """
title = "Eight stifles"
[[analysis]]
id = "hazard"
role = "primary"
model = "cox"
time = "relux_day"
event = "relux_state"
event_of_interest = "reluxation"
competing = ["death"]
censored = "censored"
population = "B"
exposure = "sulcoplasty_type"
levels = ["wedge_recession", "block_recession"]
adjust_for = ["weight_kg", "grade_preop"]
categorical = { sulcoplasty_type = "wedge_recession" }
cluster = "animal_id"
"""
WEDGE, BLOCK = "wedge_recession", "block_recession"


def study_in(folder: Path) -> Study:
    """Write the study of the eight stifles into `folder` and read it."""
    (folder / "study.toml").write_text(PLAN, "utf-8")
    return read_study(folder)


def eight_stifles() -> pl.DataFrame:
    """Eight stifles of seven animals in two clinics; a ninth left at a step of the protocol."""
    n = 9
    return pl.DataFrame(
        {
            "stifle_id": [f"s{place}" for place in range(n)],
            "animal_id": ["a", "a", "b", "c", "d", "e", "f", "g", "h"],
            "clinic_id": ["lake"] * 4 + ["north"] * 5,
            "left_at": [None] * 8 + ["grade"],
            "surgery_year": [2020, 2020, 2020, 2022, 2020, 2022, 2022, None, 2019],
            "set_a": [True] * n,
            "set_b": [True] * n,
            "species": ["dog"] * n,
            "sex_neuter": ["male_entire", "male_entire", None, *["female_entire"] * 6],
            "weight_kg": [2.0, 4.0, 6.0, 8.0, 3.0, 5.0, None, 9.0, 50.0],
            "weight_band": ["under 5"] * 2 + ["5 to 9.9"] * 2 + ["under 5"] + ["5 to 9.9"] * 4,
            "grade_preop": [2, 2, 3, 3, 2, 3, 2, 3, 1],
            "ttt_done": [True, True, False, True, True, False, True, False, True],
            "surgeon_id": ["L1", "L1", "L1", "L1", "N1", "N1", None, "N2", "N2"],
            "sulcoplasty_type": [WEDGE, BLOCK, WEDGE, BLOCK, WEDGE, WEDGE, WEDGE, WEDGE, BLOCK],
            "relux_day": [40, 365, 100, None, 400, 365, 200, 300, 10],
            "relux_state": [
                "reluxation", "censored", "death", None, "censored", "reluxation",
                "censored", "censored", "reluxation",
            ],
            "relux_by_365": [True, False, False, None, False, True, None, None, True],
            "implant_day": [40, 365, None, 100, 400, None, 200, None, 10],
            "implant_state": ["censored"] * 2 + [None] + ["censored"] * 2 + [None, "censored"]
            + [None, "censored"],
            "relux_held": [False, False, False, True, False, False, False, False, False],
            "implant_held": [False] * n,
            "major_held": [False] * n,
            "worst_severity": ["none", "minor", *["none"] * 7],
            "admin_end_day": [900, 900, 900, 900, 400, 400, 200, 900, 900],
            "adequate_91": [True, True, True, False, True, True, True, True, True],
            "adequate_183": [False, True, False, False, True, False, True, True, True],
            "adequate_365": [False, True, False, False, True, True, False, True, True],
        },
        schema_overrides={"left_at": pl.String, "sex_neuter": pl.String},
    )  # fmt: skip


def one(rows: list[Estimate], **wanted: object) -> Estimate:
    """The single row with these fields."""
    found = [row for row in rows if all(getattr(row, key) == x for key, x in wanted.items())]
    assert len(found) == 1, (wanted, len(found))
    return found[0]
