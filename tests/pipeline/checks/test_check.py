"""The whole check on small studies: what is accepted, stopped, held, derived and asked."""

import polars as pl
import pytest

from pipeline.check import check
from pipeline.checks.words import query_ids
from pipeline.intake.mapped import Mapped
from tests.pipeline.checks.small_checks import OTHER, VISIT, Build, Codebook, counts, found, held


def test_a_clean_study_is_accepted_whole_and_asked_nothing(build: Build, codebook: Codebook
                                                           ) -> None:  # fmt: skip
    checked = check(build(), codebook)
    assert checked.findings.rows() == []
    assert checked.holds.is_empty()
    assert checked.stopped.is_empty()
    assert checked.tables["stifles"].height == 3
    assert not checked.tables["stifles"]["derived"].any()
    assert not any(name.startswith("raw:") for name in checked.tables["stifles"].columns)


def test_a_finding_names_the_cell_as_the_clinic_knows_it(build: Build, codebook: Codebook) -> None:
    study = build({"stifles": {2: {"weight_kg": 120.0}}},
                  raw={"north/stifles/3/weight_kg": "120 kg"})  # fmt: skip
    one = found(check(study, codebook), "R30")
    assert (one["file"], one["row"], one["column"]) == ("stifles.csv", 4, "Weight kg")
    assert (one["key"], one["value"], one["variable"]) == ("A-2, left", "120 kg", "weight_kg")
    assert one["says"].endswith("(Species: Dog)")


def test_a_value_from_another_row_is_shown_where_it_stands(build: Build, codebook: Codebook
                                                           ) -> None:  # fmt: skip
    study = build({"stifles": {2: {"weight_kg": 120.0}}})
    mark = {"clinic_id": "north", "table": "stifles", "row_id": "north/stifles/3",
            "variable": "weight_kg", "mark": "other_row", "file": "weights.csv", "sheet": "",
            "row": 77, "column": "KG", "window_days": None}  # fmt: skip
    marks = pl.DataFrame([mark], schema=study.marks.schema, orient="row")
    tables = {name: getattr(study, name) for name in
              ("tables", "columns", "missing", "findings", "set_aside", "ledger")}  # fmt: skip
    one = found(check(Mapped(marks=marks, **tables), codebook), "R30")
    assert (one["file"], one["row"], one["column"]) == ("weights.csv", 77, "KG")


def test_a_held_value_is_empty_and_listed(build: Build, codebook: Codebook) -> None:
    checked = check(build({"stifles": {2: {"weight_kg": 120.0}}}), codebook)
    assert checked.tables["stifles"]["weight_kg"].to_list() == [12.0, 12.0, None]
    assert held(checked) == {(OTHER, "weight_kg", "R30")}


def test_a_stopped_row_holds_the_outcomes_of_its_stifle(build: Build, codebook: Codebook) -> None:
    checked = check(build(more={"rechecks": [VISIT | {"recheck_day": -9}]}), codebook)
    assert checked.stopped.select("row_id", "key", "rule").rows() == [
        ("north/rechecks/7", "A-2, left, day -9", "R14")
    ]
    assert held(checked) == {(OTHER, "outcome:all", "R14")}
    assert counts(checked, "rechecks")["stopped"] == 1


def test_a_row_without_a_side_holds_both_knees_of_its_animal(build: Build, codebook: Codebook
                                                             ) -> None:  # fmt: skip
    lost = VISIT | {"local_stifle": "A-1:?", "recheck_day": 30}
    checked = check(build(more={"rechecks": [lost]}), codebook)
    assert held(checked) == {(f"A-1:{side}", "outcome:all", "R01") for side in ("left", "right")}


def test_all_that_belongs_to_a_stopped_stifle_is_stopped_with_it(build: Build, codebook: Codebook
                                                                 ) -> None:  # fmt: skip
    checked = check(build({"stifles": {2: {"age_months": 1}}}), codebook)
    assert set(checked.stopped["table"]) == {"stifles", "procedures", "rechecks", "complications"}
    assert set(checked.stopped["rule"]) == {"R33"}
    assert checked.holds.is_empty()
    assert checked.findings["rule"].to_list() == ["R33"]


@pytest.mark.parametrize(
    ("raw", "reason", "action"),
    [("", "not_recorded", "hold"), ("ND", "not_recorded", "ask"), ("n/a", "not_applicable", None)],
)
def test_a_missing_value_is_asked_by_what_the_cell_says(
    build: Build, codebook: Codebook, raw: str, reason: str, action: str | None
) -> None:
    missing = [{"clinic_id": "north", "table": "stifles", "row_no": 3,
                "variable": "luxation_direction", "reason": reason}]  # fmt: skip
    study = build({"stifles": {2: {"luxation_direction": None}}}, missing=missing,
                  raw={"north/stifles/3/luxation_direction": raw})  # fmt: skip
    asked = check(study, codebook).findings
    assert asked["action"].to_list() == ([action] if action else [])
    assert asked["says"].str.contains("is written as not recorded").to_list() == (
        [raw == "ND"] if action else []
    )
    assert asked["fix"].str.ends_with('; or answer "cannot be found".').all()


def test_a_column_that_is_mostly_empty_is_asked_about_once(build: Build, codebook: Codebook
                                                           ) -> None:  # fmt: skip
    visits = [VISIT | {"recheck_day": day, "patella_grade": None} for day in range(190, 202)]
    checked = check(build(more={"rechecks": visits}), codebook)
    asked = found(checked, "C04")
    assert checked.findings.height == 1
    assert asked["row"] is None
    assert asked["says"].endswith("It concerns 12 rows.")


def test_a_column_that_is_never_filled_is_asked_about_once(build: Build, codebook: Codebook
                                                           ) -> None:  # fmt: skip
    """Twelve of 52 rows ask for it: fewer than the share of a column that is mostly empty."""
    seen = VISIT | {"radiographs_taken": False, "osteotomy_healing": None}
    plain = [seen | {"recheck_day": day} for day in range(190, 230)]
    taken = [seen | {"recheck_day": day, "radiographs_taken": True} for day in range(300, 312)]
    emptied = {"rechecks": {place: {"osteotomy_healing": None, "radiographs_taken": False}
                            for place in range(6)}}  # fmt: skip
    checked = check(build(emptied, more={"rechecks": plain + taken}), codebook)
    [asked] = checked.findings.filter(rule="C04", variable="osteotomy_healing").rows(named=True)
    assert asked["row"] is None
    assert asked["says"].endswith("It concerns 12 rows.")


def test_what_intake_did_not_understand_is_held_and_not_asked_twice(
    build: Build, codebook: Codebook
) -> None:
    told = {"rule": "M01", "action": "hold", "clinic_id": "north", "table": "rechecks",
            "row_id": "north/rechecks/6", "variable": "patella_grade",
            "value": "so-so"}  # fmt: skip
    study = build({"rechecks": {5: {"patella_grade": None}}}, found=[told],
                  raw={"north/rechecks/6/patella_grade": "so-so"})  # fmt: skip
    checked = check(study, codebook)
    assert checked.findings["rule"].to_list() == ["M01"]
    assert held(checked) == {(OTHER, "patella_grade", "M01"), (OTHER, "outcome:reluxation", "M01")}


def test_a_rule_takes_the_place_of_a_codebook_check_of_the_same_cell(
    build: Build, codebook: Codebook
) -> None:
    checked = check(build({"procedures": {2: {"kwire_diameter_mm": 0.045}}}), codebook)
    assert checked.findings["rule"].to_list() == ["R49"]


def test_a_confirmed_question_is_silent_and_holds_nothing(build: Build, codebook: Codebook
                                                          ) -> None:  # fmt: skip
    study = build(more={"rechecks": [VISIT | {"recheck_day": 401}]})
    first = check(study, codebook)
    assert first.findings["rule"].to_list() == ["R16"]
    again = check(study, codebook, confirmed=frozenset(query_ids(first.findings)))
    assert again.findings.is_empty()
    assert again.holds.is_empty()
    assert again.tables["stifles"]["end_of_followup_day"].to_list() == [700, 400, 400]


def test_an_impossible_value_cannot_be_confirmed(build: Build, codebook: Codebook) -> None:
    study = build({"procedures": {2: {"surgery_minutes": 5}}})
    first = check(study, codebook)
    again = check(study, codebook, confirmed=frozenset(query_ids(first.findings)))
    assert again.findings["rule"].to_list() == ["C02"]
    assert again.tables["procedures"]["surgery_minutes"].is_null().all()


def test_mixed_order_of_day_and_month_holds_the_dates_that_may_be_swapped(
    build: Build, codebook: Codebook
) -> None:
    texts = ["20/03/2022"] * 4 + ["03/20/2022"] * 4 + ["04/05/2022"]
    raw = {f"north/rechecks/{place}/recheck_day": text for place, text in enumerate(texts, start=7)}
    visits = [VISIT | {"recheck_day": day} for day in range(200, 209)]
    checked = check(build(more={"rechecks": visits}, raw=raw), codebook)
    assert found(checked, "R23")["says"].endswith("It concerns 1 row.")
    assert held(checked) == {(OTHER, "outcome:all", "R23")}


def test_a_source_row_without_a_fate_is_a_defect(build: Build, codebook: Codebook) -> None:
    study = build()
    lost = study.ledger.with_columns(source_rows=pl.col("source_rows") + 1)
    parts = {name: getattr(study, name) for name in
             ("tables", "columns", "missing", "findings", "set_aside")}  # fmt: skip
    with pytest.raises(AssertionError, match="source rows without a fate"):
        check(Mapped(ledger=lost, **parts), codebook)
