"""A plan is read strictly: what it cannot mean is refused in the words of the plan."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.plan import parse_analysis, read_plan
from pipeline.plan_check import check_plan
from shared.errors import InputFileError, PlanError

COX: dict[str, Any] = {"id": "a", "model": "cox", "time": "day", "event": "state",
                       "event_of_interest": "reluxation", "competing": ["death"],
                       "censored": "censored"}  # fmt: skip
LOGISTIC: dict[str, Any] = {"id": "a", "model": "logistic", "outcome": "low"}


@pytest.fixture
def table() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "day": [10, 20, 30, 40],
            "state": ["reluxation", "death", "censored", "censored"],
            "low": [0, 1, 1, 0],
            "clinic": ["north", "lake", "north", "lake"],
            "set_b": [True, True, False, True],
        }
    )


def test_defaults_are_those_of_the_plan_format() -> None:
    analysis = parse_analysis(LOGISTIC)
    assert (analysis.role, analysis.confidence, analysis.ties) == ("exploratory", 0.95, "efron")
    assert analysis.missing == "complete_cases"
    assert analysis.adjustments == ("crude",)


def test_adjusted_analyses_come_with_their_crude_version() -> None:
    asked = {**COX, "exposure": "clinic", "categorical": {"clinic": "north"},
             "adjust_for": ["low"]}  # fmt: skip
    assert parse_analysis(asked).adjustments == ("crude", "adjusted")
    asked |= {"model": "cumulative_incidence", "horizon": [365, 91]}
    analysis = parse_analysis(asked)
    assert analysis.adjustments == ("crude", "standardised")
    assert analysis.horizon == (91.0, 365.0)


def test_the_first_level_is_the_reference_and_levels_are_text() -> None:
    analysis = parse_analysis({**COX, "exposure": "kwire_count", "levels": [1, 2]})
    assert analysis.levels == ("1", "2")
    assert analysis.categorical == {"kwire_count": "1"}
    analysis = parse_analysis({**COX, "exposure": "band", "levels": [False, True]})
    assert analysis.categorical == {"band": "false"}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"adjust_four": ["x"]}, 'the key "adjust_four" is unknown\nDid you mean "adjust_for"?'),
        ({"model": "coxx"}, 'the model "coxx" is unknown\nDid you mean "cox"?'),
        ({"model": "frailty"}, 'the model "frailty" needs "random_intercept"'),
        ({"confidence": 95}, '"confidence" must be a number between 0 and 1, got 95'),
        ({"horizon": [-1]}, '"horizon" must be one day or a list of days, none negative'),
        ({"adjust_for": "x"}, '"adjust_for" must be a list, got \'x\''),
        ({"ties": "effron"}, '"ties" must be one of efron, breslow, exact'),
        ({"population": "E"}, '"population" must be one of A, B, C, D'),
        ({"id": "a b"}, '"id" must be letters, digits'),
        ({"seed": True}, '"seed" must be a whole number'),
        ({"outcome": "low"}, 'the model "cox" does not use "outcome"'),
        ({"estimator": "penalised", "ties": "exact"}, 'ties = "exact" cannot be used with'),
        ({"interval": "log"}, 'the model "cox" has no interval "log"\nUse interval = "profile".'),
        ({"interval": "profile", "cluster": "animal_id"}, "takes rows as independent"),
        ({"interval": "profile", "ties": "exact"}, "takes rows as independent"),
        ({"missing": "multiple_imputation"}, "multiple imputation is not yet part"),
        ({"censored": "death"}, "one state is named twice"),
        ({"event_of_interest": None}, '"event_of_interest" must be a text'),
        ({"exposure": "x", "adjust_for": ["x"]}, '"x" is both exposure and in adjust_for'),
        ({"categorical": {"clinc": "a"}, "adjust_for": ["clinic"]},
         'categorical names "clinc", which is no term of the analysis\nDid you mean "clinic"?'),
        ({"spline": {"x": 4}, "categorical": {"x": "1"}, "adjust_for": ["x"]},
         '"x" is both categorical and a number'),
        ({"levels": ["a", "b"]}, "there are levels but no exposure"),
        ({"exposure": "x", "levels": ["a"]}, "one level cannot be compared"),
        ({"exposure": "x", "levels": ["a", "b"], "categorical": {"x": "c"}},
         'the reference "c" is not among the levels'),
        ({"adjustments": ["adjusted"]}, 'the version "adjusted" needs adjust_for'),
        ({"exposure": "x", "adjust_for": ["y"], "adjustments": ["standardised"]},
         "standardised risks need their days"),
    ],
)  # fmt: skip
def test_what_a_plan_cannot_mean_is_refused(change: dict[str, Any], message: str) -> None:
    with pytest.raises(PlanError) as caught:
        parse_analysis({**COX, **change})
    assert message in str(caught.value)


def test_states_need_the_event_of_interest_and_the_censored_one() -> None:
    without = {key: value for key, value in COX.items() if key != "event_of_interest"}
    with pytest.raises(PlanError, match="states are named without the event of interest"):
        parse_analysis(without)
    without = {key: value for key, value in COX.items() if key != "censored"}
    with pytest.raises(PlanError, match="it is not said which state is censored"):
        parse_analysis(without)


def test_a_model_needs_its_columns() -> None:
    with pytest.raises(PlanError, match='the model "logistic" needs "outcome"'):
        parse_analysis({"id": "a", "model": "logistic"})
    with pytest.raises(PlanError, match='the key "model" is missing'):
        parse_analysis({"id": "a"})


def test_a_plan_fits_its_table(table: pl.DataFrame) -> None:
    check_plan(parse_analysis({**COX, "population": "B", "exposure": "clinic"}), table)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"time": "dya"}, 'time names the column "dya", which is not in the table\n'
                          'Did you mean "day"?'),
        ({"population": "A"}, 'population names the column "set_a"'),
        ({"where": {"clinic": ["nort"]}}, 'no row of the column "clinic" has the level "nort"\n'
                                          'Did you mean "north"?'),
        ({"competing": ["other"]}, 'the column "state" holds "death" in 1 row, first in row 3\n'
                                   "The plan names reluxation, other, censored"),
        ({"event": "low"}, 'the column "low" holds "0" in 2 rows, first in row 2'),
        ({"time": "clinic"}, 'the column "clinic" must hold numbers, not String'),
    ],
)  # fmt: skip
def test_what_the_table_lacks_is_named(
    table: pl.DataFrame, change: dict[str, Any], message: str
) -> None:
    with pytest.raises(PlanError) as caught:
        check_plan(parse_analysis({**COX, **change}), table)
    assert message in str(caught.value)


def test_events_are_zero_or_one_and_times_are_not_negative(table: pl.DataFrame) -> None:
    """Other programs take 1 and 2 as events, and a time of -5, without a word."""
    plain = {"id": "a", "model": "cox", "time": "day", "event": "low"}
    wrong = table.with_columns(low=pl.Series([1, 2, 2, 1]))
    with pytest.raises(PlanError, match=r'holds "2" in 2 rows, first in row 3\nAn event is 0 or 1'):
        check_plan(parse_analysis(plain), wrong)
    negative = table.with_columns(day=pl.Series([10, -5, 30, 40]))
    with pytest.raises(PlanError, match='the column "day" is negative in 1 row, first in row 3'):
        check_plan(parse_analysis(plain), negative)
    late = table.with_columns(start=pl.Series([0, 25, 0, 0]))
    with pytest.raises(PlanError, match="start is not before day in 1 row"):
        check_plan(parse_analysis({**plain, "entry": "start"}), late)


def test_a_set_holds_true_or_false(table: pl.DataFrame) -> None:
    odd = table.with_columns(set_b=pl.Series(["true", "yes", "false", "true"]))
    with pytest.raises(PlanError, match='"set_b" holds neither true nor false in 1 row, first in'):
        check_plan(parse_analysis({**COX, "population": "B"}), odd)


def test_a_cohort_row_is_named_by_its_stifle(table: pl.DataFrame) -> None:
    named = table.with_columns(stifle_id=pl.Series(["s1", "s2", "s3", "s4"]))
    with pytest.raises(PlanError, match="first in s2"):
        check_plan(parse_analysis({**COX, "competing": []}), named)


def test_plan_files_are_read_strictly(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    with pytest.raises(InputFileError, match="there is no such file"):
        read_plan(path)
    path.write_text("[[analysis]\n")
    with pytest.raises(InputFileError, match="it is no valid TOML"):
        read_plan(path)
    path.write_text("")
    with pytest.raises(PlanError, match="it has no analysis"):
        read_plan(path)
    path.write_text('title = "x"\n')
    with pytest.raises(PlanError, match='the key "title" is unknown'):
        read_plan(path)
    block = '[[analysis]]\nid = "a"\nmodel = "logistic"\noutcome = "low"\n'
    path.write_text(block * 2)
    with pytest.raises(PlanError, match=r'analysis "a": this id is used 2 times'):
        read_plan(path)
    path.write_text(block)
    assert [item.id for item in read_plan(path)] == ["a"]
