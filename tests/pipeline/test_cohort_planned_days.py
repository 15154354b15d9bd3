"""Days known only as planned, "6 weeks": they widen the interval and nothing else.

Source: the protocol's definition of the interval: 42 +/- 7 days gives L - 7 and R + 7, and L is
never below 0.
"""

from pathlib import Path

import polars as pl
import pytest

from pipeline.check import Checked, check
from pipeline.checks.derive import marks_of_added
from pipeline.intake.study_intake import read_study as read_exports
from pipeline.link import link
from schemas.codebook import read_codebook
from tests.pipeline.invented import Row, cohort_of, event, joint, only, planned, revision, visit

DEMO = Path(__file__).parents[2] / "shared" / "demo"
STABLE, LUXATED = visit(42), visit(90, 1)
FIRST, SECOND = "north/rechecks/2", "north/rechecks/3"


def interval(windows: dict[str, int], *visits: Row, **course: list[Row]) -> tuple[object, object]:
    """Give the ends of the interval; every other column must be as without the windows."""
    made = joint(course={"rechecks": list(visits), **course})
    row = only(cohort_of(made, marks=planned(windows)))
    exact = only(cohort_of(made))
    differing = {name for name in row if row[name] != exact[name]}
    assert differing <= {"relux_left", "relux_right"}
    return row["relux_left"], row["relux_right"]


def test_a_planned_day_is_widened_by_its_window_on_either_end() -> None:
    assert interval({FIRST: 7, SECOND: 14}, STABLE, LUXATED) == (35, 104)


def test_the_left_end_is_not_before_surgery() -> None:
    assert interval({FIRST: 7}, visit(5), LUXATED) == (0, 90)


def test_a_joint_never_found_luxated_is_known_free_up_to_the_window() -> None:
    assert interval({SECOND: 28}, STABLE, visit(180)) == (152, None)
    assert interval({SECOND: 28}, visit(170), visit(180)) == (170, None)


def test_a_finding_whose_day_is_known_ends_the_interval_before_a_planned_one() -> None:
    found = [event("reluxation", 95)]
    assert interval({SECOND: 14}, STABLE, LUXATED, complications=found) == (42, 95)
    revised = [revision("reluxation", 101)]
    assert interval({SECOND: 14}, STABLE, LUXATED, revisions=revised) == (42, 101)


@pytest.fixture(scope="module")
def checked() -> Checked:
    codebook = read_codebook(DEMO)
    return check(read_exports(DEMO, codebook), codebook)


@pytest.mark.parametrize("clinic", ["valley", "plateau"])
def test_planned_days_of_an_export_reach_the_linked_rows(checked: Checked, clinic: str) -> None:
    linked = link(checked.tables, checked.holds, marks=checked.marks)
    own = checked.marks.filter(clinic_id=clinic, mark="nominal", table="rechecks")
    windows = dict(own.select("row_id", "window_days").iter_rows())
    kept = linked.tables["rechecks"].filter(clinic_id=clinic).select("row_id", "window_days").rows()
    assert kept == [(row_id, windows.get(row_id)) for row_id, _ in kept]
    assert any(half for _, half in kept)


def test_a_complication_made_of_a_planned_recheck_has_its_window(checked: Checked) -> None:
    events = checked.tables["complications"]
    made = events.filter(pl.col("row_id").str.ends_with("/reluxation"))["row_id"].to_list()
    rechecks = {row_id.removesuffix("/reluxation"): 7 for row_id in made}
    marked = marks_of_added(planned(rechecks), events).filter(table="complications")
    assert made
    assert sorted(marked["row_id"]) == sorted(made)
    assert set(marked["window_days"]) == {7}
