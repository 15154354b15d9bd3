"""Combined complications, and the courses drawn for a picture: both by a rule, none by hand."""

from typing import Any

import polars as pl
import pytest

from pipeline.cohort import build_cohort
from pipeline.descriptive.combined import OTHERS, SHOWN, combinations
from pipeline.descriptive.courses import HALF, courses
from pipeline.report.draw_combined import Combination, draw_combined
from pipeline.report.draw_courses import draw_courses
from pipeline.report.draw_missing import draw_missing
from pipeline.report.figures import drawing, svg_of
from shared.estimate import results_frame
from tests.pipeline.invented import Row, event, joint, linked_of, study_of, visit

SEEN = [visit(42), visit(90, None, recheck_mode="telephone")]


def told(*rows: tuple[str, str, str | None, bool]) -> pl.DataFrame:
    """Events of stifles: stifle, type, class, whether in theatre."""
    names = ["stifle_id", "event", "severity_class", "intraoperative"]
    return pl.DataFrame(rows, schema=names, orient="row").with_columns(
        source=pl.lit("complication")
    )


def test_a_combination_is_all_that_one_stifle_had_after_surgery() -> None:
    """An event twice is one type; an event in theatre belongs to no combination."""
    rows = list(combinations(told(
        ("a", "seroma", "minor", False), ("a", "reluxation", None, False),
        ("a", "seroma", "minor", False), ("b", "reluxation", "minor", False),
        ("b", "tuberosity_fracture", "minor", True), ("c", "reluxation", "minor", False),
        ("d", "seroma", "minor", True),
    )))  # fmt: skip
    assert {row.level: row.estimate for row in rows} == {
        None: 3, "reluxation": 2, "reluxation + seroma": 1,
    }  # fmt: skip


def test_rare_combinations_share_a_row_and_the_sum_closes() -> None:
    kinds = [f"kind_{place:02d}" for place in range(SHOWN + 3)]
    rows = list(combinations(told(*((f"s{kind}", kind, None, False) for kind in kinds))))
    assert len(rows) == SHOWN + 2
    assert rows[-1].level == OTHERS
    assert rows[0].estimate == sum(row.estimate or 0 for row in rows[1:]) == SHOWN + 3
    assert len(results_frame(rows)) == len(rows)


def drawn(n_with: int, n_without: int, *, seed: int = 1) -> pl.DataFrame:
    """Courses of a study in which so many stifles had a seroma on day 20."""

    def one(place: int) -> Row:
        course: dict[str, Any] = {"rechecks": SEEN}
        if place < n_with:
            course["complications"] = [event("seroma", 20)]
        return joint(f"A{place:03d}", course=course)

    linked = linked_of(*(one(place) for place in range(n_with + n_without)))
    cohort = build_cohort(linked, study_of())
    return courses(cohort.table, cohort.events, linked.tables["rechecks"], seed=seed)


def test_as_many_stifles_with_an_event_as_without_are_drawn() -> None:
    marks = drawn(HALF + 8, HALF + 3)
    assert marks["place"].unique().sort().to_list() == list(range(1, 2 * HALF + 1))
    eventful = marks.filter(kind="complication")
    assert eventful["place"].unique().sort().to_list() == list(range(1, HALF + 1))
    assert marks.equals(drawn(HALF + 8, HALF + 3))
    assert set(drawn(HALF + 8, HALF + 3, seed=2)["stifle_id"]) != set(marks["stifle_id"])


def test_every_mark_of_a_course_is_in_the_records() -> None:
    assert drawn(1, 0).rows() == [
        ("north:A000:left", 1, "complication", "seroma", 20),
        ("north:A000:left", 1, "palpated", "visit", 42),
        ("north:A000:left", 1, "followed", "last contact", 90),
        ("north:A000:left", 1, "other contact", "visit", 90),
    ]


@pytest.mark.parametrize("figure", ["courses", "combined", "missing"])
def test_a_figure_is_drawn_the_same_twice(figure: str) -> None:
    """Texts of a drawing stand in it as comments."""
    marks = drawn(2, 2)
    found = [Combination(("Reluxation", "Seroma"), 4.0), Combination((), 2.0)]
    sizes = [("Reluxation", 5.0), ("Seroma", 4.0)]
    draw = {
        "courses": lambda: draw_courses(marks),
        "combined": lambda: draw_combined(found, sizes),
        "missing": lambda: draw_missing([[0.004, None], [0.0, 1.0]], ["Weight", "Age"], ["A", "B"]),
    }[figure]
    with drawing():
        one, other = svg_of(draw()), svg_of(draw())
    assert one == other
    expected = {
        "courses": "palpated by a veterinarian", "combined": "Reluxation (5)", "missing": "&lt;1",
    }[figure]  # fmt: skip
    assert f"<!-- {expected} -->" in one
