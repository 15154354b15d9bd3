"""The cohort of random studies, computed twice: by SQL, and from the definitions in Python."""

from pathlib import Path

import polars as pl
import pytest

from pipeline.check import check
from pipeline.cohort import build_cohort
from pipeline.intake.study_intake import read_study as read_exports
from pipeline.link import link
from pipeline.study import read_study
from schemas.codebook import read_codebook
from tests.pipeline.computed_twice import compute, differ, windows_of
from tests.pipeline.invented import holds_of, study_of
from tests.pipeline.random_studies import random_tables
from tests.pipeline.second_cohort import second_cohort

DEMO = Path(__file__).parents[2] / "shared" / "demo"
# What is compared of every stifle, besides the flow of every clinic.
COMPARED = {
    "left_at", "set_a", "set_b", "set_d", "session_type", "last_adequate_day", "last_contact_day",
    "complete_follow_up", "adequate_91", "adequate_183", "adequate_365", "at_risk_implant",
    "relux_left", "relux_right", "relux_held", "implant_held", "major_held", "ssi_30", "ssi_90",
    "ssi_365", "n_complications", "worst_severity", "last_function_class", "last_function_day",
    "surgeon_case_in_study",
    *(f"{name}_by_{day}" for name in ("relux", "implant") for day in (91, 183, 365)),
    *(f"{name}_{part}" for part in ("day", "state") for name in (
        "relux", "relux_important", "relux_revised", "relux_possible", "opposite", "implant",
        "tuberosity", "hardware", "irritation", "major_cook", "major_revision")),
    *(f"{name}_{part}_{version}" for part in ("day", "state") for name in ("relux", "implant")
      for version in ("held_event", "held_free")),
    "relux_day_all_deaths", "relux_state_all_deaths",
}  # fmt: skip


def test_both_ways_agree_on_every_stifle_of_the_demo() -> None:
    codebook, study = read_codebook(DEMO), read_study(DEMO)
    checked = check(read_exports(DEMO, codebook), codebook)
    cohort = build_cohort(link(checked.tables, checked.holds, marks=checked.marks), study)
    assert cohort.table.height > 800
    assert cohort.counts["relux_held"] > 0
    second = second_cohort(checked.tables, checked.holds, study, windows_of(checked.marks))
    assert differ(cohort, second) == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_both_ways_agree_on_every_stifle(seed: int) -> None:
    computed = compute(seed, 600)
    assert computed.differences == []
    for row in computed.second.stifles.values():
        assert row.keys() - {"first_joint", "set_c"} == COMPARED


def test_small_studies_of_many_seeds_agree() -> None:
    computed = [compute(seed, 80) for seed in range(100, 122)]
    assert [line for one in computed for line in one.differences] == []
    kinds = {kind for one in computed for _, kind, _ in one.second.operations}
    assert kinds == {"index", "revision", "earlier"}
    states = pl.concat([one.cohort.table.select("relux_state", "implant_state", "major_cook_state",
                                                "opposite_state") for one in computed])  # fmt: skip
    assert {"reluxation", "other_revision", "death", "amputation"} <= {*states["relux_state"]}
    assert {"planned_removal", "revision"} <= {*states["implant_state"]}


@pytest.mark.parametrize(
    ("table", "column", "least"),
    [("rechecks", "recheck_day", 100), ("complications", "detected_day", 10),
     ("revisions", "revision_day", 3)],
)  # fmt: skip
def test_a_wrong_day_would_be_seen(table: str, column: str, least: int) -> None:
    tables, study = random_tables(2, 300), study_of()
    cohort = build_cohort(link(tables, holds_of()), study)
    assert differ(cohort, second_cohort(tables, holds_of(), study)) == []
    moved = tables | {table: tables[table].with_columns(pl.col(column) + 1)}
    seen = differ(cohort, second_cohort(moved, holds_of(), study))
    assert len({line.split(",")[0] for line in seen}) > least
