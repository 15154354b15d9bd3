"""A Spanish event log: one row per event, false friends, grams, inherited sides, a farewell."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.intake.mapped import Mapped

DATA = Path(__file__).parent / "data" / "log"
LOG = (DATA / "log.txt").read_text("utf-8").splitlines()
_, SURGERY, RECHECK, REVISED, CALL, FAREWELL, TEST = LOG
MAPPING = (DATA / "mapping.toml").read_text("utf-8")
Read = Callable[[dict[str, str | bytes], str], Mapped]


def as_sent(lines: list[str]) -> dict[str, str | bytes]:
    return {"log.txt": ("\n".join(lines) + "\n").encode("utf-8-sig")}


@pytest.fixture
def log(map_export: Read) -> Mapped:
    return map_export(as_sent(LOG), MAPPING)


def test_revision_is_a_recheck_and_reintervencion_the_operation(log: Mapped) -> None:
    assert log.tables["rechecks"].select("recheck_day", "recheck_mode").rows() == [
        (42, "operating_clinic"), (189, "telephone"),
    ]  # fmt: skip
    assert log.tables["revisions"].select("revision_day", "revision_reason").rows() == [
        (78, "reluxation")
    ]


def test_grams_with_thousands_dot_and_decimal_comma_become_kilograms(log: Mapped) -> None:
    assert log.tables["stifles"].select("weight_kg", "raw:weight_kg").rows() == [(2.95, "2.950,0")]


def test_the_same_letter_means_a_side_only_in_the_side_column(log: Mapped) -> None:
    assert log.tables["rechecks"]["local_stifle"].to_list() == ["E/0221:left", "E/0221:left"]
    assert log.tables["stifles"]["grade_preop"].to_list() == [3]


def test_planned_weeks_stand_in_where_no_date_is_given_and_are_marked(log: Mapped) -> None:
    marks = log.marks.filter(mark="nominal").select("table", "row_id", "window_days").rows()
    assert ("rechecks", "clinic/rechecks/1", 7) in marks
    assert len(marks) == 2  # the recheck, and the complication found at it


def test_a_remark_at_a_recheck_makes_its_complication(log: Mapped) -> None:
    made = log.tables["complications"].select("complication_type", "treatment", "detected_day")
    assert made.rows() == [("kwire_migration", "implant_removal", 42)]


def test_test_patients_are_set_aside_by_the_declared_rule(log: Mapped) -> None:
    assert log.set_aside.select("row", "rule", "reason").rows() == [(7, "mapping", "test record")]
    assert log.ledger.select("source_rows", "mapped", "set_aside", "unreadable").rows() == [
        (6, 5, 1, 0)
    ]


def test_a_farewell_ends_follow_up_and_names_the_cause_of_death(log: Mapped) -> None:
    """15 March 2022 to 2 December 2022: 262 days."""
    row = log.tables["stifles"].row(0, named=True)
    assert (row["end_of_followup_day"], row["end_status"]) == (262, "died")
    assert log.tables["animals"]["death_cause"].to_list() == ["unrelated"]
    elsewhere = log.marks.filter(mark="other_row", variable="end_status")
    assert elsewhere.select("row", "column").rows() == [(6, "observaciones")]


def test_two_tables_may_fill_the_same_variables(map_export: Read, log: Mapped) -> None:
    """The second one, here by the animal's number alone, finds nothing left to fill."""
    block = MAPPING[MAPPING.index("[[table]]\nfills") : MAPPING.index("[when_blank")]
    again = block.replace('side = { column = "lado", codes = "lado" }\n', "")
    twice = map_export(as_sent(LOG), MAPPING.replace(block, block + again))
    for name in ("stifles", "animals"):
        assert twice.tables[name].equals(log.tables[name])
    assert twice.marks.equals(log.marks)


def test_a_missing_side_is_inherited_from_the_only_operated_stifle(log: Mapped) -> None:
    marks = log.marks.filter(mark="inherited")
    assert marks["row_id"].to_list() == ["clinic/rechecks/1", "clinic/complications/1"]


def test_a_missing_side_of_an_animal_with_two_stifles_is_asked(map_export: Read) -> None:
    both = [*LOG[:2], SURGERY.replace("|izq|", "|dcha|"), *LOG[2:]]
    mapped = map_export(as_sent(both), MAPPING)
    stopped = mapped.findings.filter(rule="M06").select("table", "action", "row", "holds").rows()
    assert stopped == [
        ("rechecks", "stop", 4, "outcome:reluxation"), ("complications", "stop", 4, "outcome:all"),
    ]  # fmt: skip
    assert mapped.tables["rechecks"]["local_stifle"].to_list() == ["E/0221:?", "E/0221:left"]


def test_without_a_farewell_follow_up_ends_at_the_latest_event(map_export: Read) -> None:
    mapped = map_export(as_sent([line for line in LOG if line != FAREWELL]), MAPPING)
    assert mapped.tables["stifles"]["end_of_followup_day"].to_list() == [189]
    marks = mapped.marks.filter(mark="derived").select("table", "variable").rows()
    assert marks == [("stifles", "end_of_followup_day")]


def test_two_farewells_that_disagree_are_held(map_export: Read) -> None:
    other = FAREWELL.replace(" muerte por otra causa", "perdido")
    mapped = map_export(as_sent([*LOG, other]), MAPPING)
    found = mapped.findings.filter(rule="M14")
    assert found.select("variable", "action").rows() == [("end_status", "hold")]
    assert mapped.tables["stifles"]["end_status"].to_list() == [None]


def test_an_event_nobody_knows_is_unreadable_not_lost(map_export: Read) -> None:
    mapped = map_export(as_sent([*LOG, SURGERY.replace("CIRUGIA", "CORREO")]), MAPPING)
    assert mapped.findings.filter(rule="M11").select("row", "action").rows() == [(8, "stop")]
    assert mapped.ledger["unreadable"].to_list() == [1]


def test_an_exact_copy_is_passed_on_whole_with_one_event_number(map_export: Read) -> None:
    mapped = map_export(as_sent([*LOG, SURGERY, REVISED]), MAPPING)
    assert mapped.tables["stifles"].height == 2
    assert mapped.tables["revisions"]["revision_no"].to_list() == [1, 1]


def test_other_spellings_of_an_animal_code_are_left_for_people(map_export: Read) -> None:
    other = SURGERY.replace("E/0221", "E-221").replace("2.950,0", "2.980,0")
    mapped = map_export(as_sent([*LOG, other]), MAPPING)
    assert mapped.tables["animals"]["local_animal"].to_list() == ["E/0221", "E-221"]


def test_a_number_in_another_grammar_is_not_guessed(map_export: Read) -> None:
    mapped = map_export(as_sent([line.replace("2.950,0", "2,950.0") for line in LOG]), MAPPING)
    found = mapped.findings.filter(variable="weight_kg")
    assert found.select("rule", "action", "value").rows() == [("M02", "hold", "2,950.0")]
    assert mapped.tables["stifles"]["weight_kg"].to_list() == [None]


def test_a_month_of_another_language_is_not_guessed(map_export: Read) -> None:
    mapped = map_export(
        as_sent([line.replace("02-dic-2022", "02-dec-2022") for line in LOG]), MAPPING
    )
    found = mapped.findings.filter(rule="M03")
    assert found.select("variable", "value", "row").rows() == [
        ("end_of_followup_day", "02-dec-2022", 6)
    ]


def test_a_clean_log_leaves_nothing_to_ask(log: Mapped) -> None:
    assert log.findings.is_empty()
