"""The list of events: every row once, in the order of all columns, blanks last."""

import polars as pl

from pipeline.cohort import Cohort
from shared.files import as_text
from tests.pipeline.invented import cohort_of, event, joint, outcome, revision, visit

NOTHING = {"complication_type": None, "detected_day": None, "severity_class": None,
           "treatment": None, "intraoperative": None}  # fmt: skip


def events() -> Cohort:
    course = {
        "rechecks": [visit(40, 2), visit(20, 1), visit(60, 1, patella_direction="lateral")],
        "complications": [
            event("seroma", 400, severity_class=None),
            event("seroma", 400, treatment="rest_or_bandage"),
            event("seroma", 10, intraoperative=None), event("kwire_breakage", 0), NOTHING,
            event("seroma", 400),
        ],
        "revisions": [revision("reluxation", 184)],
    }  # fmt: skip
    return cohort_of(
        joint("A2", course=course, end_status="died"),
        joint("A1", course={"revisions": [revision("other", 91), revision("infection", 92)]}),
        joint("A3"),
    )


def test_events_are_in_the_order_of_all_columns_with_blanks_last() -> None:
    listed = as_text(events().events)
    assert listed.height == 2 + 6 + 1 + 3 + 1
    order = ["stifle_id", "source", "event", "day", "time_frame", "severity_class", "treatment",
             "intraoperative"]  # fmt: skip
    assert listed.equals(listed.sort(order, nulls_last=True))
    own = listed.filter(pl.col("stifle_id").str.contains("A2"), source="complication")
    assert own["event"].to_list() == ["kwire_breakage", *["seroma"] * 4, None]
    assert own["day"].to_list() == [0, 10, 400, 400, 400, None]
    assert own["severity_class"].to_list() == [*["minor"] * 4, None, None]


def test_events_of_day_0_are_those_of_the_operation_and_frames_follow_days() -> None:
    listed = events().events
    own = listed.filter(pl.col("stifle_id").str.contains("A2"))
    assert own.filter("intraoperative")["event"].to_list() == ["kwire_breakage"]
    frames = dict(listed.select("day", "time_frame").unique().rows())
    assert frames[91] == "perioperative"
    assert frames[92] == "short term"
    assert frames[184] == "mid term"
    assert frames[400] == "long term"
    assert frames[None] is None


def test_a_study_without_any_event_has_an_empty_list_and_no_stretch_but_the_last() -> None:
    quiet = cohort_of(joint(course={"rechecks": [visit(42)]}), joint("A2"))
    assert quiet.events.is_empty()
    assert quiet.events.schema == events().events.schema
    assert quiet.recurrent.select("start_day", "stop_day", "complication").rows() == [
        (0, 42, False)
    ]
    assert quiet.recurrent.schema == events().recurrent.schema


def test_a_stifle_of_which_nothing_is_recorded_has_no_days() -> None:
    alone = outcome()
    assert (alone["relux_state"], alone["relux_day"], alone["n_complications"]) == (None, None, 0)
