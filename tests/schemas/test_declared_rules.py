"""Checks that come from the codebook itself, and the language of its conditions."""

from dataclasses import replace

import polars as pl
import pytest

from schemas.codebook import CANONICAL_TABLES, Variable, read_codebook
from schemas.rules.conditions import condition
from schemas.rules.declared import declared_rules
from schemas.rules.rule import Rule
from shared.errors import PlanError

BOOK = read_codebook()
KNOWN = {(item.table, item.name): item for item in BOOK}


def rule_of(rule_id: str, table: str, name: str, book: tuple[Variable, ...] = BOOK) -> Rule:
    return next(rule for rule in declared_rules(book)
                if (rule.id, rule.table, rule.shows) == (rule_id, table, (name,)))  # fmt: skip


def breaks(rule: Rule, **cells: object) -> bool:
    assert isinstance(rule.broken, pl.Expr)
    frame = pl.DataFrame({name: [value] for name, value in cells.items()})
    return frame.select(rule.broken.fill_null(value=False)).item()


@pytest.mark.parametrize(
    ("rule_id", "table", "name", "bad", "good", "action"),
    [
        ("C02", "stifles", "bcs", 10, 9, "hold"),
        ("C02", "rechecks", "recheck_day", 9000, 5500, "stop"),
        ("C03", "stifles", "luxation_direction", None, "medial", "hold"),
        ("C03", "rechecks", "recheck_day", None, 4, "stop"),
        ("C03", "clinics", "clinic_type", None, "referral", "ask"),
        ("C05", "procedures", "surgery_minutes", 200, 180, "ask"),
    ],
)
def test_a_check_follows_the_declaration(
    rule_id: str, table: str, name: str, bad: object, good: object, action: str
) -> None:
    rule = rule_of(rule_id, table, name)
    assert breaks(rule, **{name: bad})
    assert not breaks(rule, **{name: good})
    assert rule.action == action


def test_a_value_beyond_its_limits_is_not_called_unusual_too() -> None:
    rule = rule_of("C05", "procedures", "surgery_minutes")
    assert not breaks(rule, surgery_minutes=5)


def test_an_outcome_is_held_with_the_variable_that_decides_it() -> None:
    assert rule_of("C02", "rechecks", "patella_grade").holds == (
        "patella_grade", "outcome:reluxation",
    )  # fmt: skip


def test_a_needed_value_is_asked_where_its_condition_is_met() -> None:
    rule = rule_of("C04", "procedures", "kwire_diameter_mm")
    assert breaks(rule, kwire_count=2, kwire_diameter_mm=None)
    assert not breaks(rule, kwire_count=0, kwire_diameter_mm=None)
    assert not breaks(rule, kwire_count=None, kwire_diameter_mm=None)


def test_a_condition_may_join_terms_of_several_tables() -> None:
    rule = rule_of("C04", "rechecks", "osteotomy_healing")
    cells = {"osteotomy_healing": None, "radiographs_taken": True}
    assert breaks(rule, **cells, **{"procedures.ttt_done": True})
    assert not breaks(rule, **cells, **{"procedures.ttt_done": False})


@pytest.mark.parametrize(
    ("text", "weight", "met"),
    [("stifles.weight_kg >= 5", 5.0, True), ("stifles.weight_kg < 5", 5.0, False),
     ("stifles.weight_kg present", None, False), ("stifles.weight_kg in 4|5", 5.0, True)],
)  # fmt: skip
def test_signs_of_a_condition(text: str, weight: float | None, met: bool) -> None:
    frame = pl.DataFrame({"weight_kg": [weight]}, schema={"weight_kg": pl.Float64})
    found = frame.select(condition(text, KNOWN, table="stifles").fill_null(value=False)).item()
    assert found is met


def test_an_animal_meets_a_condition_if_one_of_its_stifles_does() -> None:
    text = "stifles.end_status in died|euthanised"
    frame = pl.DataFrame({"stifles.end_status": [["lost", "died"], ["lost"], []]},
                         schema={"stifles.end_status": pl.List(pl.String)})  # fmt: skip
    met = frame.select(condition(text, KNOWN, table="animals")).to_series()
    assert met.to_list() == [True, False, False]


@pytest.mark.parametrize("text", ["weight_kg > 3", "stifles.wheight > 3", "stifles.side is left"])
def test_a_condition_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(PlanError, match="no condition that can be read"):
        condition(text, KNOWN, table="stifles")


def test_a_study_variable_is_checked_like_any_other() -> None:
    own = replace(KNOWN["stifles", "bcs"], name="thigh_cm", limits=("1", "90"), usual=None)
    rule = rule_of("C02", "stifles", "thigh_cm", (*BOOK, own))
    assert breaks(rule, thigh_cm=95)
    assert not breaks(rule, thigh_cm=30)


def test_a_text_that_is_none_of_the_words_declared_for_it_is_held() -> None:
    """Of a category no such text is ever read."""
    own = replace(KNOWN["procedures", "tb_pattern"], name="knot", kind="string")
    rule = rule_of("C01", "procedures", "knot", (*BOOK, own))
    assert breaks(rule, knot="granny")
    assert not breaks(rule, knot="simple_loop")
    assert rule.action == "hold"
    assert not [rule for rule in declared_rules(BOOK) if rule.id == "C01"]


@pytest.mark.parametrize(
    ("sign", "met"), [("=", [False, False]), (">", [True, False]), ("<=", [False, True])]
)
def test_codes_are_compared_by_their_letters_also_with_other_texts(
    sign: str, met: list[bool]
) -> None:
    direction = KNOWN["stifles", "luxation_direction"]
    frame = pl.DataFrame(
        {"luxation_direction": pl.Series(["medial", "lateral"], dtype=direction.dtype)}
    )
    found = frame.select(condition(f"stifles.luxation_direction {sign} le", KNOWN, table="stifles"))
    assert found.to_series().to_list() == met


def test_every_variable_has_checks_that_read_the_columns_of_its_table() -> None:
    tables = {rule.table for rule in declared_rules(BOOK)}
    assert tables == set(CANONICAL_TABLES)
