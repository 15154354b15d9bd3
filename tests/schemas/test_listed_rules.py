"""Every consistency rule of the protocol is made, and facts that rules repeat are declared ones."""

import re

from schemas.codebook import read_codebook
from schemas.keep_rule_list import PLACE, rule_list
from schemas.rules.every import LISTED, NOT_MADE, RULES
from schemas.rules.measurements import USUAL

SHORT = {"aldfa": "aldfa_deg", "femoral_varus": "femoral_varus_deg", "q_angle": "q_angle_deg",
         "tibial_plateau_angle": "tibial_plateau_angle_deg"}  # fmt: skip


def test_each_of_the_88_rules_is_made_or_says_why_not() -> None:
    made = {rule.id for rule in RULES}
    assert len(LISTED) == 88
    assert set(LISTED) - made == set(NOT_MADE)
    assert all(NOT_MADE.values())
    assert {rule for rule in made if rule.startswith("R")} <= set(LISTED)


def test_every_rule_speaks_of_variables_that_are_declared() -> None:
    declared = {(item.table, item.name) for item in read_codebook()}
    for rule in RULES:
        for place in rule.shows:
            table, _, name = place.rpartition(".")
            assert (table or rule.table, name) in declared, (rule.id, place)


def test_every_rule_says_in_whole_sentences_what_is_wrong_and_what_to_do() -> None:
    for rule in RULES:
        assert rule.says.endswith("."), rule.id
        assert rule.fix.endswith("."), rule.id
        assert rule.why, rule.id
        assert rule.source, rule.id


def test_usual_ranges_of_measures_are_those_of_the_codebook() -> None:
    declared = {(item.table, item.name): item for item in read_codebook()}
    value = declared["measurements", "value"]
    told: dict[str, tuple[float, float]] = {}
    for name, low, high in re.findall(
        r"(\w+) (-?[\d.]+?)\.\.(-?[\d.]+)", value.definition.split("Usual: ")[1]
    ):
        told[SHORT.get(str(name), str(name))] = (float(low), float(high.rstrip(".")))
    for name in USUAL:
        if name.endswith("_mm"):
            usual = declared["procedures", name].usual
            assert usual is not None
            told[name] = (float(usual[0]), float(usual[1]))
    assert told == USUAL
    assert set(USUAL) <= set(declared["measurements", "measure"].codes)


def test_the_page_of_rules_is_that_of_the_rules() -> None:
    assert PLACE.read_text("utf-8") == rule_list(), "run `make rules`"
