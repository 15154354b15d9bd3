"""What answers do besides a new value: nobody can tell, leave the row out, said by itself now."""

import csv
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.check import Checked, check
from pipeline.checks.place import text_fingerprint
from pipeline.corrections import Corrected, correct
from pipeline.corrections_file import COLUMNS, append_corrections, read_corrections
from pipeline.intake.mapped import LEDGER_SCHEMA, Mapped
from schemas.codebook import Variable
from schemas.findings import query_id

Codebook = tuple[Variable, ...]
Build = Callable[..., Mapped]
Line = dict[str, str]
LINE = {"clinic": "north", "animal": "A-2", "side": "left", "who": "clinic", "when": "2026-01-05"}
WEIGHT = LINE | {"query_id": "Q-1", "table": "stifles", "variable": "weight_kg"}


def apply(folder: Path, mapped: Mapped, codebook: Codebook, *rows: Line) -> Corrected:
    path = folder / "corrections.csv"
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, COLUMNS, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return correct(mapped, read_corrections(path, codebook), codebook)


def asked(done: Corrected, codebook: Codebook) -> Checked:
    return check(done.mapped, codebook, confirmed=done.confirmed, closed=done.closed)


def test_a_value_nobody_can_find_is_missing_and_not_asked_again(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = build({"stifles": {2: {"weight_kg": 120.0}}})
    assert check(study, codebook).findings["rule"].to_list() != []
    line = WEIGHT | {"old_raw": "120.0", "decision": "unknown", "new": "not_recorded"}
    done = apply(tmp_path, study, codebook, line)
    checked = asked(done, codebook)
    assert checked.tables["stifles"]["weight_kg"].to_list()[2] is None
    reason = checked.missing.filter(table="stifles", row_no=3, variable="weight_kg")["reason"]
    assert reason.to_list() == ["not_recorded"]
    assert checked.findings.is_empty()
    assert checked.holds.is_empty()
    assert done.trail.select("old_raw", "decision").rows() == [("120.0", "unknown")]


def test_a_day_nobody_can_find_leaves_its_row_stopped_but_not_asked(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = build({"rechecks": {5: {"recheck_day": -9}}})
    before = check(study, codebook)
    assert before.findings.select("rule", "action").rows() == [("R14", "stop")]
    key = before.findings["key"][0]
    line = LINE | {
        "query_id": query_id("north", "rechecks", key, "recheck_day", "R14"), "table": "rechecks",
        "day": "-9", "variable": "recheck_day", "old_raw": "-9", "new": "R14",
        "decision": "unknown",
    }  # fmt: skip
    after = asked(apply(tmp_path, study, codebook, line), codebook)
    assert after.findings.is_empty()
    assert after.stopped.equals(before.stopped)
    assert after.holds.equals(before.holds)


def with_ledger(study: Mapped) -> Mapped:
    """Give the small study the account of files that its rows were read from."""
    rows = pl.concat([frame.select("clinic_id", "file", "sheet", "row")
                      for frame in study.tables.values()]).unique()  # fmt: skip
    counted = rows.group_by("clinic_id", "file", "sheet").agg(mapped=pl.len().cast(pl.Int64))
    ledger = counted.sort("file").with_columns(
        source_rows="mapped", set_aside=pl.lit(0, pl.Int64), unreadable=pl.lit(0, pl.Int64)
    )
    return replace(study, ledger=ledger.select(*LEDGER_SCHEMA))


def test_a_deleted_row_is_set_aside_and_the_sums_still_hold(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = with_ledger(build())
    line = LINE | {"query_id": "Q-2", "table": "rechecks", "day": "180", "variable": "recheck_day",
                   "old_raw": "180", "decision": "deleted"}  # fmt: skip
    done = apply(tmp_path, study, codebook, line)
    checked = asked(done, codebook)
    assert checked.tables["rechecks"].height == study.tables["rechecks"].height - 1
    aside = checked.set_aside.select("rule", "reason").rows()
    assert aside == [("K02", "the clinic answered: leave this row out")]
    was, now = study.ledger, checked.ledger
    assert now["mapped"].sum() == was["mapped"].sum() - 1
    assert now["set_aside"].sum() == was["set_aside"].sum() + 1


def test_of_two_rows_with_one_name_only_the_one_with_these_texts_is_deleted(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = with_ledger(build())
    stifles = study.tables["stifles"]
    copy = stifles.filter(pl.col("row_id") == "north/stifles/3").with_columns(
        row_id=pl.lit("north/stifles/9"), row=pl.lit(9, pl.Int64), weight_kg=pl.lit(8.5),
        **{"raw:weight_kg": pl.lit("8.5")},
    )  # fmt: skip
    study = replace(study, tables={**study.tables, "stifles": pl.concat([stifles, copy])})
    study = with_ledger(study)
    line = WEIGHT | {"variable": "side", "old_raw": "left", "decision": "deleted",
                     "new": text_fingerprint(copy.row(0, named=True))}  # fmt: skip
    left = apply(tmp_path, study, codebook, line).mapped.tables["stifles"]
    assert left.equals(stifles)


@pytest.mark.parametrize(
    ("change", "counts"),
    [
        ({}, (1, 0)),                                             # the record was mended as told
        ({"new": "13"}, (0, 1)),                                  # otherwise than told
        ({"decision": "deleted", "new": "", "animal": "A-7"}, (1, 0)),  # the row is gone
        ({"animal": "A-7"}, (0, 1)),                              # so is that of a correction
        ({"decision": "confirmed", "animal": "A-7"}, (1, 0)),
    ],
)  # fmt: skip
def test_an_answer_that_the_export_took_over_is_settled(
    tmp_path: Path, build: Build, codebook: Codebook, change: Line, counts: tuple[int, int]
) -> None:
    line = WEIGHT | {"old_raw": "120.0", "new": "12.0", "decision": "corrected"} | change
    done = apply(tmp_path, build(), codebook, line)
    assert (done.settled, done.stale) == counts
    assert done.mapped.findings.height == counts[1]


def test_a_later_answer_about_the_cell_takes_the_place_of_a_stale_one(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = build({"stifles": {2: {"weight_kg": 130.0}}})
    first = WEIGHT | {"old_raw": "120.0", "new": "12.0", "decision": "corrected"}
    done = apply(tmp_path, study, codebook, first, first | {"old_raw": "130.0", "new": "13.0"})
    assert (done.applied, done.stale) == (1, 0)
    assert done.mapped.findings.is_empty()


def test_an_answer_may_name_a_row_by_the_day_that_an_earlier_answer_gave_it(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    day = LINE | {"query_id": "Q-3", "table": "rechecks", "day": "180", "variable": "recheck_day",
                  "old_raw": "180", "new": "150", "decision": "corrected"}  # fmt: skip
    grade = day | {"query_id": "Q-4", "day": "150", "variable": "patella_grade", "old_raw": "0",
                   "new": "1"}  # fmt: skip
    done = apply(tmp_path, build(), codebook, grade, day)
    assert (done.applied, done.stale) == (2, 0)
    row = done.mapped.tables["rechecks"].filter(row_id="north/rechecks/6").row(0, named=True)
    assert (row["recheck_day"], row["patella_grade"]) == (150, 1)


def test_a_confirmed_event_is_known_by_its_rule_when_its_number_changed(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = build()
    event = study.tables["complications"].row(0, named=True)
    animal, side = event["local_stifle"].split(":")
    line: dict[str, Any] = LINE | {
        "query_id": "Q-of-event-7", "table": "complications", "animal": animal, "side": side,
        "day": str(event["detected_day"]), "variable": "severity_class",
        "old_raw": event["raw:severity_class"], "new": "R73", "decision": "confirmed",
    }  # fmt: skip
    done = apply(tmp_path, study, codebook, line)
    key = f"{animal}, {side}, event {event['complication_no']}"
    assert done.confirmed == {query_id("north", "complications", key, "severity_class", "R73")}


def test_lines_are_added_at_the_end_and_cannot_run(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    path = tmp_path / "corrections.csv"
    apply(tmp_path, build(), codebook, WEIGHT | {"decision": "confirmed"})
    before = path.read_bytes()
    old = read_corrections(path, codebook)
    append_corrections(path, [replace(old[0], old_raw="=1+1", reason="two\nlines, quoted")])
    assert path.read_bytes().startswith(before)
    assert b"'=1+1" in path.read_bytes()
    assert read_corrections(path, codebook)[1].old_raw == "=1+1"
    append_corrections(path, [])
    assert len(read_corrections(path, codebook)) == 2
