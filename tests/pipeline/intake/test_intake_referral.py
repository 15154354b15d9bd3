"""A German clinic's one file: both sides beside each other, rechecks as repeated columns."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.intake.mapped import Mapped

DATA = Path(__file__).parent / "data" / "referral"
EXPORT = (DATA / "MPL_Auszug.csv").read_text("utf-8")
MAPPING = (DATA / "mapping.toml").read_text("utf-8")
Read = Callable[[dict[str, str | bytes], str], Mapped]


def as_sent(text: str) -> dict[str, str | bytes]:
    return {"MPL_Auszug.csv": text.replace("\n", "\r\n").encode("cp1252")}


@pytest.fixture
def referral(map_export: Read) -> Mapped:
    return map_export(as_sent(EXPORT), MAPPING)


def by_stifle(mapped: Mapped, table: str, *columns: str) -> dict[str, Any]:
    rows = mapped.tables[table].select("local_stifle", *columns).rows()
    return {row[0]: row[1] if len(columns) == 1 else row[1:] for row in rows}


def test_leading_zeros_of_the_animal_code_stay(referral: Mapped) -> None:
    assert referral.tables["animals"]["local_animal"].to_list() == ["00317", "00318", "00322"]


def test_only_operated_sides_make_rows_with_their_block(referral: Mapped) -> None:
    assert by_stifle(referral, "stifles", "row", "block") == {
        "00317:left": (2, "left"), "00318:left": (3, "left"), "00318:right": (3, "right"),
        "00322:right": (4, "right"),
    }  # fmt: skip


def test_years_with_a_comma_become_months(referral: Mapped) -> None:
    assert by_stifle(referral, "stifles", "age_months", "weight_kg") == {
        "00317:left": (30.0, 2.8), "00318:left": (21.0, 11.4), "00318:right": (21.0, 11.4),
        "00322:right": (36.0, 4.1),
    }  # fmt: skip


def test_weeks_are_counted_from_the_declared_operation(referral: Mapped) -> None:
    """The right side came 105 days after the left: week 8 after it is day 161 of the left."""
    days = by_stifle(referral, "rechecks", "block", "recheck_day")
    first = {stifle: day for stifle, (block, day) in days.items() if block.startswith("recheck 1")}
    assert referral.tables["rechecks"].select("local_stifle", "block", "recheck_day").rows() == [
        ("00317:left", "recheck 1 left", 42),
        ("00317:left", "recheck 2 left", 182),
        ("00318:left", "recheck 1 left", 42),
        ("00318:left", "recheck 2 left", 161),
        ("00318:right", "recheck 2 right", 56),
        ("00322:right", "recheck 1 right", 35),
    ]
    assert first == {"00322:right": 35}


def test_planned_weeks_are_marked_as_nominal(referral: Mapped) -> None:
    marks = referral.marks.filter(mark="nominal")
    assert marks.height == referral.tables["rechecks"].height
    assert set(marks["window_days"]) == {7}


def test_a_size_shared_by_both_sides_belongs_where_the_implant_is(referral: Mapped) -> None:
    assert by_stifle(referral, "procedures", "tension_band_done", "tb_wire_diameter_mm") == {
        "00317:left": (True, 0.6), "00318:left": (False, None), "00318:right": (True, 0.8),
        "00322:right": (False, None),
    }  # fmt: skip
    why = referral.missing.filter(variable="tb_wire_diameter_mm")["reason"].to_list()
    assert why == ["not_applicable", "not_applicable"]


def test_every_word_for_a_k_wire_counts_and_silence_means_no(referral: Mapped) -> None:
    assert by_stifle(referral, "procedures", "kwire_count", "lateral_imbrication") == {
        "00317:left": (2, True), "00318:left": (1, False), "00318:right": (2, False),
        "00322:right": (1, True),
    }  # fmt: skip


def test_implant_removal_in_free_text_is_a_complication_and_a_revision(referral: Mapped) -> None:
    """5 May 2020 to 14 September 2020: 132 days."""
    assert by_stifle(referral, "revisions", "revision_day", "revision_reason") == {
        "00318:left": (132, "implant_migration")
    }
    assert by_stifle(referral, "complications", "complication_type", "detected_day") == {
        "00318:left": ("kwire_migration", 132), "00322:right": ("seroma", 9),
    }  # fmt: skip


def test_a_clean_export_leaves_nothing_to_ask(referral: Mapped) -> None:
    assert referral.findings.is_empty()
    assert referral.ledger.select("source_rows", "mapped").rows() == [(3, 3)]


def test_neutered_and_entire_are_told_apart(referral: Mapped) -> None:
    assert referral.tables["animals"]["sex_neuter"].to_list() == [
        "female_neutered", "male_entire", "male_neutered",
    ]  # fmt: skip


def test_umlauts_survive_in_the_declared_encoding(map_export: Read) -> None:
    mapped = map_export(
        as_sent(EXPORT.replace("Pat-Nr;Tierart", "Pat-Nr;Größe").replace("Hund", "Groß")),
        MAPPING.replace('"Tierart"', '"Größe"').replace("Hund =", '"Groß" ='),
    )
    assert mapped.tables["animals"]["raw:species"].to_list() == ["Groß", "Groß", "Katze"]
    assert mapped.tables["animals"]["species"].to_list() == ["dog", "dog", "cat"]


def test_a_piece_that_does_not_fit_is_stopped_with_its_text(map_export: Read) -> None:
    mapped = map_export(
        as_sent(EXPORT.replace("re: Serom, konservativ 01.10.20", "Serom rechts")), MAPPING
    )
    found = mapped.findings.filter(table="complications", variable="side")
    assert found.select("rule", "action", "row", "value").rows() == [
        ("M01", "stop", 4, "Serom rechts")
    ]


def test_an_unknown_word_leaves_named_facts_and_holds_the_rest(map_export: Read) -> None:
    mapped = map_export(
        as_sent(EXPORT.replace("2 KD + Zuggurtung, Kapselraffung", "2 Nägel")), MAPPING
    )
    row = mapped.tables["procedures"].row(0, named=True)
    assert (row["sulcoplasty_type"], row["ttt_done"]) == ("block_recession", True)
    assert (row["kwire_count"], row["tension_band_done"], row["lateral_imbrication"]) == (None,) * 3
    found = mapped.findings.filter(rule="M05").row(0, named=True)
    assert set(found["holds"].split(",")) == {
        "kwire_count",
        "tension_band_done",
        "lateral_imbrication",
    }
    assert '"OP-Technik links"' in found["says"]
    assert found["says"].endswith("part: 2 Nägel")
