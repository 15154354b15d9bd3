"""study.toml with switches changed: values change, comments and everything else stay."""

import tomllib

import pytest

from pipeline.explore.protocol_text import difference, with_switches
from shared.errors import PlanError

TEXT = """# A study.
title = "T"

[eligibility]
species = ["dog"]   # no cats
grades = [
    2, 3,  # the usual
    4,
]

[outcomes]
window_days = 28          # seen free "so long" before

[[analysis]]
id = "a"
grades = [1]
"""


def test_only_the_value_changes_and_the_comment_stays() -> None:
    new = with_switches(TEXT, {"eligibility": {"species": ["dog", "cat"]}, "outcomes": {}})
    assert new == TEXT.replace('["dog"]', '["dog", "cat"]')


def test_a_list_over_several_lines_is_replaced_whole() -> None:
    new = with_switches(TEXT, {"eligibility": {"grades": [3, 4]}, "outcomes": {"window_days": 14}})
    assert tomllib.loads(new)["eligibility"] == {"species": ["dog"], "grades": [3, 4]}
    assert 'window_days = 14          # seen free "so long" before' in new
    assert tomllib.loads(new)["analysis"] == [{"id": "a", "grades": [1]}]


def test_a_new_key_joins_its_section_and_a_new_section_comes_before_the_plan() -> None:
    new = with_switches(TEXT, {"eligibility": {"groove_replacement": True}, "outcomes": {}})
    assert tomllib.loads(new)["eligibility"]["groove_replacement"] is True
    bare = with_switches('title = "T"\n\n[[analysis]]\nid = "a"\n',
                         {"eligibility": {}, "outcomes": {"horizons": [365]}})  # fmt: skip
    assert tomllib.loads(bare)["outcomes"] == {"horizons": [365]}
    assert bare.index("[outcomes]") < bare.index("[[analysis]]")


def test_ends_of_lines_and_odd_marks_in_comments_stay() -> None:
    odd = TEXT.replace("# no cats", "# no\u2028cats").replace("\n", "\r\n")
    new = with_switches(odd, {"eligibility": {}, "outcomes": {"window_days": 14}})
    assert new == odd.replace("window_days = 28", "window_days = 14")
    assert with_switches(TEXT.rstrip(), {}) == TEXT.rstrip()


def test_none_takes_a_key_out() -> None:
    new = with_switches(TEXT, {"eligibility": {"species": None}, "outcomes": {}})
    assert tomllib.loads(new)["eligibility"] == {"grades": [2, 3, 4]}


def test_the_difference_names_both_lines() -> None:
    new = with_switches(TEXT, {"eligibility": {}, "outcomes": {"window_days": 14}})
    told = difference(TEXT, new)
    assert "-window_days = 28" in told
    assert "+window_days = 14" in told


def test_a_text_that_cannot_be_changed_safely_is_refused() -> None:
    quoted = TEXT.replace("[outcomes]", '["outcomes"]')
    with pytest.raises(PlanError, match="cannot be written into it safely"):
        with_switches(quoted, {"eligibility": {}, "outcomes": {"window_days": 14}})
