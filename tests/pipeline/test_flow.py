"""The flow adds up by clinic and in all, and is drawn the same way each time."""

import json
import re
import xml.etree.ElementTree as ET

import numpy as np
import polars as pl
import pytest

from pipeline.cohort import Cohort
from pipeline.eligibility import Step
from pipeline.flow import flow_json, flow_svg, flow_text
from pipeline.flow_counts import add_up, flow_frame
from tests.pipeline.invented import cohort_of, joint, revision, visit

SEEN = {"rechecks": [visit(42)]}
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def cohort() -> Cohort:
    revised = SEEN | {"revisions": [revision("reluxation", 90), revision("planned_removal", 200)]}
    return cohort_of(
        joint("A1", "left", course=revised),
        joint("A1", "right", course=SEEN),
        joint("A2", species="cat", course=SEEN),
        joint("V1", clinic="valley", course=SEEN, token="t"),
        joint("V2", clinic="valley", course=SEEN, grade_preop=1),
        joint("A3", course=SEEN, token="t", side="right"),
    )


def rows(cohort: Cohort, clinic: str) -> dict[str, dict[str, int]]:
    return rows_of(cohort.flow, clinic)


def rows_of(flow: pl.DataFrame, clinic: str) -> dict[str, dict[str, int]]:
    part = flow.filter(pl.col("clinic_id") == clinic)
    return {row["name"]: row for row in part.to_dicts()}


def test_operations_are_index_operations_revisions_and_earlier_ones(cohort: Cohort) -> None:
    counts = cohort.counts
    assert counts["operations"] == 8
    assert (counts["index_operations"], counts["revisions"], counts["earlier_operations"]) == (
        6,
        2,
        0,
    )
    whole = rows(cohort, "all")
    assert whole["operations"]["operations"] == 8
    assert whole["revisions"]["left_operations"] == 2
    assert whole["earlier"]["operations"] == 6


def test_accepted_stifles_are_those_included_and_those_that_left(cohort: Cohort) -> None:
    whole = cohort.flow.filter(pl.col("clinic_id") == "all")
    assert whole["left_stifles"].sum() + cohort.counts["set_a"] == cohort.counts["accepted_stifles"]
    assert whole["stifles"].to_list()[-1] == cohort.counts["set_a"] == 4


def test_every_step_stands_there_also_when_nobody_left(cohort: Cohort) -> None:
    assert set(rows(cohort, "all")) == set(rows(cohort, "north")) == set(rows(cohort, "valley"))
    assert rows(cohort, "all")["accrual"]["left_stifles"] == 0


def test_clinics_sum_to_the_whole_in_operations_and_stifles(cohort: Cohort) -> None:
    north, valley = rows(cohort, "north"), rows(cohort, "valley")
    for name, row in rows(cohort, "all").items():
        for unit in ("operations", "stifles", "left_operations", "left_stifles"):
            assert row[unit] == north[name][unit] + valley[name][unit]


def test_an_animal_of_two_clinics_is_one_animal_in_all(cohort: Cohort) -> None:
    assert rows(cohort, "north")["operations"]["animals"] == 3
    assert rows(cohort, "valley")["operations"]["animals"] == 2
    assert rows(cohort, "all")["operations"]["animals"] == 4


@pytest.mark.parametrize("n_animals", [1, 40, 400])
def test_animals_leave_a_clinic_and_the_study_with_the_last_of_their_stifles(
    n_animals: int,
) -> None:
    steps = [Step(name=name, label=name, why="") for name in ("species", "grade", "accrual")]
    draw = np.random.default_rng(n_animals)
    place = draw.integers(0, 4, 2 * n_animals)
    stifles = pl.DataFrame({
        "clinic_id": draw.choice(["north", "valley", "lake"], 2 * n_animals),
        "left_at": [None if at == len(steps) else steps[at].name for at in place],
        "animal_no": draw.integers(0, n_animals, 2 * n_animals).astype(np.uint32),
    }, schema={"clinic_id": pl.String, "left_at": pl.String, "animal_no": pl.UInt32})  # fmt: skip
    operations = stifles.select("clinic_id", kind=pl.lit("index"))
    flow = flow_frame(stifles, operations, steps)
    for clinic in flow["clinic_id"].unique():
        here = (stifles["clinic_id"] == clinic) | (clinic == "all")
        own = stifles.with_columns(place=pl.Series(place)).filter(here)
        last = own.group_by("animal_no").agg(pl.col("place").max())["place"]
        told = rows_of(flow, clinic)
        for number, step in enumerate(steps):
            assert told[step.name]["animals"] == int((last > number).sum())


@pytest.mark.parametrize("column", ["operations", "stifles", "left_stifles"])
def test_a_flow_that_loses_somebody_is_refused(cohort: Cohort, column: str) -> None:
    lost = pl.when(pl.int_range(pl.len()) == 8).then(pl.col(column) + 1).otherwise(column)
    with pytest.raises(AssertionError, match="does not add up"):
        add_up(cohort.flow.with_columns(lost.alias(column)))


def test_the_text_shows_each_box_and_why_others_left(cohort: Cohort) -> None:
    drawn = flow_text(cohort.flow, cohort.counts)
    assert "8 operations, 4 animals, 6 stifles" in drawn
    assert "1 stifle left: another species, or not recorded" in drawn
    assert "D, transpositions held with K-wires: 4 stifles" in drawn
    assert max(map(len, drawn.splitlines())) <= 100


def test_the_json_holds_steps_and_counts(cohort: Cohort) -> None:
    content = json.loads(flow_json(cohort.flow, cohort.counts))
    assert content["counts"]["set_a"] == 4
    assert len(content["steps"]) == cohort.flow.height


def test_every_number_of_the_drawing_is_that_of_its_cell(cohort: Cohort) -> None:
    drawing = ET.fromstring(flow_svg(cohort.flow))
    whole = {
        row["step"]: row for row in cohort.flow.filter(pl.col("clinic_id") == "all").to_dicts()
    }
    spans = drawing.findall(f".//{SVG}tspan")
    assert len(spans) == 4 * len(whole) - 1
    for span in spans:
        _, step, _, column = span.attrib["data-row"].split("/")
        assert int(span.text or "") == whole[int(step)][column]


def test_the_drawing_stays_in_its_frame_and_is_the_same_each_time(cohort: Cohort) -> None:
    text = flow_svg(cohort.flow)
    assert text == flow_svg(cohort.flow)
    drawing = ET.fromstring(text)
    width, height = map(int, drawing.attrib["viewBox"].split()[2:])
    assert width <= 360
    boxes = [{name: float(box.attrib[name]) for name in ("x", "y", "width", "height")}
             for box in drawing.iter(f"{SVG}rect")]  # fmt: skip
    assert all(box["x"] + box["width"] <= width for box in boxes)
    assert all(box["y"] + box["height"] <= height for box in boxes)
    assert not re.search(r"\bid=", text)


def test_words_of_a_protocol_cannot_become_markup(cohort: Cohort) -> None:
    risky = cohort.flow.with_columns(label=pl.lit("<b> & </b>"), why=pl.lit("<script>"))
    assert "<script>" not in flow_svg(risky)
    assert "<b>" not in flow_svg(risky)
