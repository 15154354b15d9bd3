"""Linked tables by name: only rows of the study, under the names of joint and animal."""

from datetime import timedelta

import polars as pl
from polars.testing import assert_frame_equal

from pipeline.link import link
from pipeline.linked import Below, LinkedTables
from tests.pipeline.invented import DAY_0, holds_of, joint, linked_of, revision, tables_of, visit

NAMES = ["stifle_id", "animal_id"]


def test_rows_of_another_operation_are_left_out_and_the_others_named() -> None:
    """The first operation was not for the patella: its procedure and visits are of no index."""
    other = {"sulcoplasty_type": "none", "ttt_done": False, "femoral_osteotomy": "none"}
    earlier = joint("A1", token="t1", procedure=other, course={"rechecks": [visit(42)]})
    course = {"rechecks": [visit(40)], "revisions": [revision("reluxation", 60)]}
    later = DAY_0 + timedelta(days=300)
    index = joint("V9", clinic="valley", token="t1", on=later, course=course)
    linked = linked_of(earlier, index)
    for name in ("rechecks", "procedures", "revisions"):
        table = linked.tables[name]
        assert table.columns[:2] == NAMES
        assert table.select(*NAMES, "clinic_id").rows() == [("north:A1:left", "north:A1", "valley")]
    assert linked.below["rechecks"].stifle_no.to_list() == [None, 0]
    assert linked.below["rechecks"].rows.height == 2


def test_the_tables_are_those_accepted_in_their_order() -> None:
    tables = linked_of(joint("A1")).tables
    assert list(tables) == ["clinics", "animals", "stifles", "rechecks", "complications",
                            "revisions", "procedures", "implants", "measurements"]  # fmt: skip
    assert len(tables) == 9
    assert "cohort" not in tables
    assert tables["rechecks"] is tables["rechecks"]  # named once


def test_a_table_without_rows_has_names_too() -> None:
    stifles = pl.DataFrame(schema=dict.fromkeys(NAMES, pl.String))
    below = Below(rows=pl.DataFrame(schema={"day": pl.Int64}), stifle_no=pl.Series(dtype=pl.UInt32))
    made = LinkedTables({"stifles": stifles}, {"rechecks": below})["rechecks"]
    assert made.schema == {"stifle_id": pl.String, "animal_id": pl.String, "day": pl.Int64}


def test_the_address_of_a_joint_is_that_of_its_index_operation() -> None:
    tables = tables_of(joint("B"), joint("A", token="t1"), joint(
        "V9", clinic="valley", token="t1", on=DAY_0 + timedelta(days=90)))  # fmt: skip
    linked = link(tables, holds_of())
    accepted = tables["stifles"]
    last = ["end_of_followup_day", "end_status"]
    own = [name for name in accepted.columns if name not in last]
    table = linked.tables["stifles"]
    assert table.columns == [*NAMES, *own, *last]
    assert table["stifle_id"].to_list() == ["north:A:left", "north:B:left"]
    address = ["row_id", "file", "sheet", "row", "block", "derived"]
    assert table.select(address).rows() == [accepted.select(address).row(place) for place in (1, 0)]
    assert_frame_equal(linked.joints, table.select(linked.joints.columns))
