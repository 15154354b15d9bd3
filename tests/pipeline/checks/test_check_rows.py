"""What becomes of rows: copies, test records, second operations, derived and merged rows."""

from datetime import date

import polars as pl

from pipeline.check import check
from tests.pipeline.checks.small_checks import (
    AT,
    OTHER,
    SECOND,
    VISIT,
    Build,
    Codebook,
    counts,
    found,
    held,
)


def test_an_exact_copy_is_counted_once(build: Build, codebook: Codebook) -> None:
    checked = check(build(more={"rechecks": [VISIT | {"recheck_day": 42, "lameness_score": 1}]}),
                    codebook)  # fmt: skip
    assert counts(checked, "rechecks")["merged"] == 1
    assert checked.findings["rule"].to_list() == ["R07"]


def test_two_rows_without_a_day_are_no_copies(build: Build, codebook: Codebook) -> None:
    checked = check(build(more={"rechecks": [VISIT, VISIT]}), codebook)
    assert counts(checked, "rechecks")["stopped"] == 2
    assert counts(checked, "rechecks")["merged"] == 0


def test_test_records_leave_with_all_they_own_and_count_as_set_aside(
    build: Build, codebook: Codebook
) -> None:
    checked = check(build({"animals": {1: {"breed": "TEST"}}}), codebook)
    assert checked.tables["stifles"]["local_stifle"].to_list() == ["A-1:left", "A-1:right"]
    ledger = checked.ledger.filter(pl.col("file") == "rechecks.csv").row(0, named=True)
    assert (ledger["source_rows"], ledger["mapped"], ledger["set_aside"]) == (6, 4, 2)
    assert set(checked.set_aside["rule"]) == {"R08"}
    assert counts(checked, "rechecks")["made"] == 4


def test_two_versions_of_one_operation_leave_what_they_agree_on(build: Build, codebook: Codebook
                                                                ) -> None:  # fmt: skip
    checked = check(build(more={"stifles": [SECOND]}), codebook)
    kept = checked.tables["stifles"].row(2, named=True)
    assert kept["weight_kg"] is None
    assert kept["grade_preop"] == 2
    assert (OTHER, "outcome:all", "R02") in held(checked)
    assert counts(checked, "stifles")["stopped"] == 1
    assert checked.findings["rule"].to_list() == ["R02"]


def test_a_later_operation_becomes_a_derived_revision(build: Build, codebook: Codebook) -> None:
    later = SECOND | {"surgery_date": date(2022, 9, 1), "local_stifle": "op-2"}
    luxated = AT | {"complication_no": 2, "complication_type": "reluxation", "detected_day": 100,
                    "severity_class": "major_surgical",
                    "treatment": "revision_surgery"}  # fmt: skip
    visit = VISIT | {"local_stifle": "op-2", "recheck_day": 30}
    checked = check(
        build(more={"stifles": [later], "complications": [luxated], "rechecks": [visit]}), codebook
    )
    made = checked.tables["revisions"].row(0, named=True)
    assert (made["local_stifle"], made["revision_day"]) == (OTHER, 104)
    assert (made["revision_reason"], made["derived"]) == ("reluxation", True)
    assert counts(checked, "stifles")["merged"] == 1
    assert checked.tables["rechecks"]["recheck_day"].to_list()[-1] == 134
    assert found(checked, "R70")["action"] == "derive"


def test_a_derived_revision_that_cannot_be_placed_is_counted_as_stopped(
    build: Build, codebook: Codebook
) -> None:
    later = SECOND | {"surgery_date": date(2034, 9, 1), "local_stifle": "op-2"}
    checked = check(build(more={"stifles": [later]}), codebook)
    assert checked.tables["revisions"].is_empty()
    assert (counts(checked, "revisions")["derived"], counts(checked, "revisions")["stopped"]) == (
        1, 1,
    )  # fmt: skip


def test_a_luxated_recheck_adds_a_complication_of_unknown_severity(
    build: Build, codebook: Codebook
) -> None:
    visits = [VISIT | {"recheck_day": day, "patella_grade": 2, "patella_direction": side}
              for day, side in ((200, "lateral"), (250, "medial"), (300, "medial"))]  # fmt: skip
    events = check(build(more={"rechecks": visits}), codebook).tables["complications"]
    added = events.filter(pl.col("derived"))
    assert added.select("complication_type", "detected_day", "complication_no").rows() == [
        ("opposite_luxation", 200, 2), ("reluxation", 250, 3),
    ]  # fmt: skip
    assert added["severity_class"].is_null().all()


def test_a_luxation_told_by_telephone_is_no_event_and_held(build: Build, codebook: Codebook
                                                           ) -> None:  # fmt: skip
    call = VISIT | {"recheck_day": 200, "recheck_mode": "telephone", "patella_grade": 2}
    checked = check(build(more={"rechecks": [call]}), codebook)
    assert not checked.tables["complications"]["derived"].any()
    assert (OTHER, "outcome:reluxation", "R28") in held(checked)


def test_a_treated_event_is_raised_and_marked(build: Build, codebook: Codebook) -> None:
    checked = check(build({"complications": {0: {"treatment": "drug"}}}), codebook)
    event = checked.tables["complications"].row(0, named=True)
    assert (event["severity_class"], event["derived"]) == ("major_medical", True)
    assert counts(checked, "complications")["derived"] == 0


def test_rows_of_one_animal_are_merged_where_they_agree(build: Build, codebook: Codebook) -> None:
    row = {"clinic_id": "north", "local_animal": "A-1", "species": "dog", "breed": "Poodle",
           "sex_neuter": "female_entire", "link_token": "k"}  # fmt: skip
    checked = check(build(more={"animals": [row]}), codebook)
    first = checked.tables["animals"].row(0, named=True)
    assert (first["breed"], first["link_token"]) == (None, "k")
    assert counts(checked, "animals")["merged"] == 1
    assert set(checked.findings["rule"]) == {"R04"}
