"""The description of one invented cohort; longer than most, as all parts are held against it."""

from pathlib import Path

import polars as pl
import pytest

from pipeline.descriptives import describe
from pipeline.study import Study
from schemas.codebook import read_codebook
from shared.estimate import Estimate, results_frame
from tests.pipeline.eight_stifles import BLOCK, WEDGE, eight_stifles, one, study_in
from tests.pipeline.invented import joint, linked_of


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return study_in(tmp_path)


@pytest.fixture
def cohort() -> pl.DataFrame:
    return eight_stifles()


@pytest.fixture
def rows(cohort: pl.DataFrame, study: Study) -> list[Estimate]:
    return describe(cohort, study, read_codebook())


def test_rows_are_about_different_things(rows: list[Estimate]) -> None:
    assert len(results_frame(rows)) == len(rows)


def test_who_left_is_not_described(rows: list[Estimate]) -> None:
    assert one(rows, analysis="table1", term="stifles", measure="count").estimate == 8
    assert one(rows, analysis="table1", term="animals").estimate == 7


def test_table_1_gives_median_and_quartiles_of_each_arm(rows: list[Estimate]) -> None:
    """Wedge: 2, 6, 3, 5, 9 and one missing. Type 7 quartiles 3 and 6."""
    wedge = {"analysis": "table1_sulcoplasty_type", "group": WEDGE, "term": "weight_kg"}
    assert one(rows, **wedge, measure="median").estimate == 5
    assert one(rows, **wedge, measure="quartile", level="lower").estimate == 3
    assert one(rows, **wedge, measure="quartile", level="upper").estimate == 6
    missing = one(rows, **wedge, level="missing")
    assert (missing.estimate, missing.n) == (1, 6)


def test_facts_of_an_animal_count_once_and_levels_come_from_the_codebook(
    rows: list[Estimate],
) -> None:
    male = one(rows, analysis="table1", term="sex_neuter", level="male_entire")
    assert (male.events, male.n, male.state) == (1, 6, "animals")
    assert one(rows, analysis="table1", term="sex_neuter", level="missing").estimate == 1
    grade = one(rows, analysis="table1", term="grade_preop", level="3")
    assert (grade.events, grade.n) == (4, 8)


def test_standardised_difference_is_of_each_arm_from_the_reference(rows: list[Estimate]) -> None:
    """TTT in 2 of 2 block and 3 of 6 wedge: 0.5 over the root of (0 + 0.25) / 2."""
    found = one(
        rows, analysis="table1_sulcoplasty_type", measure="standardised_difference", term="ttt_done"
    )
    assert (found.group, found.reference) == (BLOCK, WEDGE)
    assert found.estimate == pytest.approx(0.5 / (0.25 / 2) ** 0.5)


def test_operations_are_counted_by_clinic_and_year(rows: list[Estimate]) -> None:
    """Every clinic has every year of the stifles studied, a year without operations too."""
    found = {
        (row.group, row.level): (row.estimate, row.n) for row in rows if row.analysis == "accrual"
    }
    assert found == {
        ("all", "2020"): (4, 8), ("all", "2021"): (0, 8), ("all", "2022"): (3, 8),
        ("all", "missing"): (1, 8),
        ("lake", "2020"): (3, 4), ("lake", "2021"): (0, 4), ("lake", "2022"): (1, 4),
        ("north", "2020"): (1, 4), ("north", "2021"): (0, 4), ("north", "2022"): (2, 4),
        ("north", "missing"): (1, 4),
    }  # fmt: skip


def test_missing_values_are_shared_out_by_clinic(rows: list[Estimate]) -> None:
    found = one(rows, analysis="missing", group="north", term="weight_kg")
    assert (found.events, found.n, found.estimate) == (1, 4, 0.25)


def test_recheck_share_leaves_out_who_is_not_due_and_says_how_many(rows: list[Estimate]) -> None:
    """At 365 days one of eight was operated too late; 4 of 7 were seen in days 184 to 365."""
    found = one(rows, analysis="rechecks", group="all", day=365.0)
    assert (found.events, found.n, found.n_dropped) == (4, 7, 1)
    assert found.low is not None
    assert found.high is not None
    assert found.low < 4 / 7 < found.high
    arm = one(rows, analysis="rechecks_sulcoplasty_type", group="lake", level=BLOCK, day=91.0)
    assert (arm.events, arm.n) == (1, 2)


def test_median_follow_up_is_the_reverse_kaplan_meier(rows: list[Estimate]) -> None:
    """Censored on days 200, 300, 365, 400 with 5, 4, 3 and 1 at risk: 1/5, 1/4, 1/3 leave; the
    curve is 0.8, 0.6, 0.4: the median is day 365."""
    found = one(rows, analysis="follow_up", outcome="relux", group="all")
    assert (found.estimate, found.n, found.n_dropped) == (365, 7, 1)


def test_completeness_is_days_seen_of_days_possible(rows: list[Estimate]) -> None:
    """To day 365, by hand: 40, 365, 100, 365, 365 and 200 of as many, and 300 of 365 of the one
    that was lost; the held one is left out. 1735 of 1800."""
    base = {"measure": "completeness", "outcome": "relux"}
    found = one(rows, analysis="completeness", group="all", **base)
    assert found.estimate == pytest.approx(1735 / 1800)
    assert (found.n, found.n_dropped, found.clusters, found.day) == (7, 1, 6, 365)
    assert one(rows, analysis="completeness", group="lake", **base).estimate == 1
    arm = one(rows, analysis="completeness_sulcoplasty_type", level=WEDGE, **base)
    assert arm.estimate == pytest.approx((1735 - 365) / (1800 - 365))


def test_a_stifle_that_was_never_palpated_was_not_seen_at_all(
    cohort: pl.DataFrame, study: Study
) -> None:
    never = cohort.with_columns(
        relux_day=pl.when(pl.col("stifle_id") == "s7").then(None).otherwise("relux_day"),
        relux_state=pl.when(pl.col("stifle_id") == "s7").then(None).otherwise("relux_state"),
    )
    rows = describe(never, study, read_codebook())
    found = one(rows, analysis="completeness", group="all", outcome="relux")
    assert found.estimate == pytest.approx(1435 / 1800)


def test_the_lost_stand_beside_the_followed(rows: list[Estimate]) -> None:
    """Of eight one is held and one not due by day 365; s7, last palpated on day 300, is lost."""
    lost = {"analysis": "table1_lost", "group": "lost"}
    assert one(rows, **lost, term="stifles").estimate == 1
    assert one(rows, **(lost | {"group": "followed"}), term="stifles").estimate == 5
    assert one(rows, **lost, term="weight_kg", measure="median").estimate == 9
    assert one(rows, **lost, term="clinic_id", level="north").events == 1
    apart = one(rows, **lost, term="clinic_id", measure="standardised_difference")
    assert (apart.reference, apart.concerns) == ("followed", ())


def test_unscheduled_visits_are_shared_out_by_clinic_and_arm(
    cohort: pl.DataFrame, study: Study
) -> None:
    """Not counted: a call, a visit on the day of surgery, one after the data lock, one of a
    stifle that left; one visit does not say whether it was planned."""
    visits = [
        ("s0", 14, "operating_clinic", 0, False), ("s0", 40, "operating_clinic", 2, True),
        ("s1", 42, "other_veterinarian", None, False), ("s1", 50, "telephone", None, True),
        ("s2", 0, "operating_clinic", 0, True), ("s4", 30, "operating_clinic", 0, True),
        ("s4", 500, "operating_clinic", 0, True), ("s6", 20, "operating_clinic", 0, None),
        ("s8", 20, "operating_clinic", 0, True),
    ]  # fmt: skip
    names = ["stifle_id", "recheck_day", "recheck_mode", "patella_grade", "unscheduled"]
    tables = {
        "rechecks": pl.DataFrame(visits, schema=names, orient="row"),
        "measurements": linked_of(joint()).tables["measurements"],
    }
    rows = describe(cohort, study, read_codebook(), tables=tables)
    found = one(rows, analysis="visits", group="all")
    assert (found.events, found.n, found.n_dropped, found.estimate) == (2, 4, 1, 0.5)
    north = one(rows, analysis="visits", group="north")
    assert (north.events, north.n, north.n_dropped) == (1, 1, 1)
    assert one(rows, analysis="visits_sulcoplasty_type", level=BLOCK).estimate == 0


def test_technique_in_one_hand_only_is_a_concern(rows: list[Estimate]) -> None:
    lake = one(rows, analysis="overlap_sulcoplasty_type", group="lake", level=BLOCK)
    assert (lake.estimate, lake.concerns) == (2, ())
    north = one(rows, analysis="overlap_sulcoplasty_type", group="north", level=BLOCK)
    assert (north.estimate, north.n, north.concerns) == (0, 4, ("no_overlap",))
    hands = {row.group for row in rows if row.analysis == "overlap_surgeon_sulcoplasty_type"}
    assert hands == {"lake / L1", "north / N1", "north / N2", "north / not recorded"}


def test_outcomes_are_counted_by_state_and_time_frame(rows: list[Estimate]) -> None:
    base = {"analysis": "outcomes", "outcome": "relux", "measure": "count"}
    assert one(rows, **base, state="reluxation", level=None).estimate == 2
    assert one(rows, **base, state="reluxation", level="perioperative").estimate == 1
    assert one(rows, **base, state="reluxation", level="mid term").estimate == 1
    assert one(rows, **base, state="death", level="short term").estimate == 1
    assert one(rows, **base, term="at_risk").n_dropped == 1
    assert one(rows, analysis="outcomes", outcome="worst_severity", level="minor").estimate == 1


def test_held_stifles_are_counted_by_clinic(rows: list[Estimate]) -> None:
    found = one(rows, analysis="held", group="lake", outcome="relux")
    assert (found.estimate, found.n, found.concerns) == (1, 4, ("held_rows",))
    assert one(rows, analysis="held", group="north", outcome="relux").concerns == ()


def test_small_cells_of_the_risk_table_hold_no_number(rows: list[Estimate]) -> None:
    risks = [row for row in rows if row.analysis == "per_100" and row.measure == "risk"]
    assert {row.estimate for row in risks} == {None}
    assert {row.concerns for row in risks} == {("too_few",)}
    assert one(rows, analysis="per_100", group="under 5", level="2", state="rechecked").n == 3


def test_risk_table_gives_a_number_from_twenty_stifles_on(
    cohort: pl.DataFrame, study: Study
) -> None:
    """Twenty copies as other animals: 1 of 8 reluxates before a death by day 100, by hand:
    at 365 the risk is 1/7 + 6/7 * 5/6 * 1/3, two others leaving on days 200 and 300."""
    copies = [
        cohort.with_columns(pl.col("stifle_id", "animal_id") + f"-{place}") for place in range(20)
    ]
    rows = describe(pl.concat(copies), study, read_codebook())
    found = one(
        rows, analysis="per_100", group="all", level="all", outcome="reluxation", measure="risk"
    )
    assert found.estimate == pytest.approx(1 / 7 + 5 / 7 * 1 / 3)
    assert (found.n, found.n_dropped, found.clusters) == (140, 20, 120)
    assert found.low is not None
    assert found.high is not None
    assert found.low < 1 / 7 + 5 / 21 < found.high


def test_event_counts_take_the_included_stifles_once_per_frame(
    cohort: pl.DataFrame, study: Study
) -> None:
    events = pl.DataFrame(
        {
            "stifle_id": ["s0", "s0", "s1", "s8"],
            "source": ["complication"] * 4,
            "event": ["kwire_migration"] * 4,
            "day": [20, 30, None, 5],
            "severity_class": ["minor", "major_surgical", None, "minor"],
            "intraoperative": [False] * 4,
        }
    )
    rows = describe(cohort, study, read_codebook(), events=events)
    base = {"analysis": "events", "term": "kwire_migration"}
    assert one(rows, **base, level=None).estimate == 2
    assert one(rows, **base, level="perioperative").estimate == 1
    assert one(rows, **base, level="day not known").estimate == 1
    severity = {row.level: row.estimate for row in rows if row.analysis == "severity"}
    assert severity == {None: 2, "minor": 1, "major_medical": 0, "major_surgical": 1,
                        "catastrophic": 0, "not_classed": 1}  # fmt: skip


def test_recurrent_counts_add_up_and_leave_out_held_stifles(
    cohort: pl.DataFrame, study: Study
) -> None:
    """Three stifles with 0, 1 and 4 days of complications, two of one day among them."""
    days = [("s0", [False]), ("s1", [True, False]), ("s2", [True] * 4)]
    stretches = pl.DataFrame(
        [(name, ends, 2 if name == "s1" and ends else int(ends))
         for name, all_ends in days for ends in all_ends],
        schema=["stifle_id", "complication", "complications_of_day"], orient="row",
    )  # fmt: skip
    rows = describe(cohort, study, read_codebook(), recurrent=stretches)
    found = {row.level or row.term: row.estimate for row in rows if row.analysis == "recurrent"}
    assert found == {"stretches": 7, "days": 5, "complications": 6,
                     "0": 1, "1": 1, "2": 0, "3 or more": 1}  # fmt: skip
    left = cohort.filter(pl.col("left_at").is_null()).height - 3
    assert {row.n_dropped for row in rows if row.analysis == "recurrent"} == {left}


def test_classes_of_function_and_outcomes_by_a_day_are_counted(
    cohort: pl.DataFrame, study: Study
) -> None:
    told = cohort.with_row_index("place").with_columns(
        last_function_class=pl.when(pl.col("place") == 0).then(pl.lit("full")),
        relux_by_365=pl.col("place") == 0,
    )
    rows = describe(told.drop("place"), study, read_codebook())
    assert one(rows, outcome="last_function_class", level="full").estimate == 1
    assert one(rows, outcome="relux_by_365", level="true").estimate == 1
