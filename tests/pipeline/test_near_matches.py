"""Animals that look alike are listed for a person; only what is declared is linked."""

from dataclasses import asdict
from datetime import timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.link import link
from pipeline.linked import Linked
from pipeline.near_matches import COLUMNS, Decision, read_decisions
from shared.errors import InputFileError
from tests.pipeline.invented import DAY_0, Row, holds_of, joint, tables_of

SIGNED = {"who": "coordinator", "when": "2025-01-02", "because": "the clinics spoke"}


def decided(one: str, two: str, decision: str = "same animal") -> Decision:
    (clinic, animal), (other_clinic, other) = one.split(":"), two.split(":")
    return Decision(clinic=clinic, local_animal=animal, other_clinic=other_clinic,
                    other_local_animal=other, decision=decision, **SIGNED)  # fmt: skip


def linked(*joints: Row, decisions: tuple[Decision, ...] = ()) -> Linked:
    return link(tables_of(*joints), holds_of(), decisions=decisions)


def pairs(found: Linked) -> list[tuple[str, str, str]]:
    return found.near_matches.select("local_animal", "other_local_animal", "decision").rows()


@pytest.mark.parametrize(
    ("twin", "listed"),
    [
        ({}, True),
        ({"on": DAY_0 + timedelta(days=3)}, True),
        ({"on": DAY_0 + timedelta(days=4)}, False),
        ({"on": DAY_0 - timedelta(days=2)}, True),
        ({"weight_kg": 8.4}, True),
        ({"weight_kg": 8.5}, False),
        ({"age_months": 31.0}, True),
        ({"age_months": 31.5}, False),
        ({"age_months": None}, True),
        ({"age_months": None, "weight_kg": None}, False),
        ({"side": "right"}, False),
        ({"species": "cat"}, False),
        ({"breed": "Beagle"}, False),
        ({"sex_neuter": "female_entire"}, True),
        ({"sex_neuter": "male_neutered"}, False),
        ({"token": "t9"}, True),
    ],
)
@pytest.mark.parametrize("clinic", ["north", "valley"])
def test_a_pair_is_listed_within_tolerances_across_clinics_and_within(
    twin: Row, listed: bool, clinic: str
) -> None:
    """Fixed by hand: 8.4 kg is 4.8 percent above 8.0 of the larger, 8.5 kg is 5.9."""
    found = linked(joint("A1"), joint("B2", clinic=clinic, **twin))
    assert pairs(found) == ([("A1", "B2", "to be decided")] if listed else [])
    assert found.tables["stifles"]["animal_id"].n_unique() == 2


def test_two_tokens_are_two_animals() -> None:
    assert pairs(linked(joint("A1", token="t1"), joint("B2", clinic="valley", token="t2"))) == []


def test_dates_that_a_clinic_shifted_are_not_compared() -> None:
    shifted = {"valley": {"dates_shifted": True}}
    twins = (joint("A1"), joint("B2", clinic="valley"))
    assert pairs(link(tables_of(*twins, clinics=shifted), holds_of())) == []


def test_animals_with_blanks_are_not_like_others() -> None:
    for name in ("species", "breed", "sex_neuter"):
        blank: Row = {name: None}
        assert pairs(linked(joint("A1", **blank), joint("B2", **blank))) == []


def test_the_list_says_why_they_look_alike_and_where_they_stand() -> None:
    later = DAY_0 + timedelta(days=2)
    row = linked(joint("A1"), joint("B2", clinic="valley", on=later, weight_kg=8.3))
    told = row.near_matches.row(0, named=True)
    assert told["why"] == (
        "same species, breed (crossbreed), sex and side; operated 2 days apart; "
        "30 and 30 months; 8 and 8.3 kg"
    )
    assert (told["clinic"], told["other_clinic"], told["file"]) == ("north", "valley", "made.csv")


def test_declared_the_same_they_are_one_animal_and_the_later_operation_a_revision() -> None:
    joints = (joint("A1"), joint("B2", clinic="valley", on=DAY_0 + timedelta(days=3)))
    found = linked(*joints, decisions=(decided("valley:B2", "north:A1"),))
    assert found.tables["stifles"]["animal_id"].to_list() == ["north:A1"]
    assert found.operations["kind"].to_list() == ["index", "revision"]
    assert pairs(found) == [("B2", "A1", "same animal")]
    assert found.tables["animals"]["link_token"].null_count() == 2  # what clinics sent stays


def test_a_declaration_takes_along_all_codes_under_one_token() -> None:
    joints = (joint("A1", token="t1"), joint("C3", clinic="lake", token="t1", side="right"),
              joint("B2", clinic="valley", on=DAY_0 + timedelta(days=300)))  # fmt: skip
    found = linked(*joints, decisions=(decided("lake:C3", "valley:B2"),))
    assert found.tables["animals"]["animal_id"].unique().to_list() == ["lake:C3"]


def test_declared_different_they_stay_apart_and_in_sight() -> None:
    no = decided("north:A1", "valley:B2", "different animals")
    found = linked(joint("A1"), joint("B2", clinic="valley"), decisions=(no,))
    assert pairs(found) == [("A1", "B2", "different animals")]
    assert found.tables["stifles"]["animal_id"].n_unique() == 2


def test_a_decision_about_animals_that_are_not_sent_changes_nothing() -> None:
    found = linked(joint("A1"), decisions=(decided("north:A1", "valley:B2"),))
    assert found.tables["stifles"]["animal_id"].to_list() == ["north:A1"]
    assert pairs(found) == [("A1", "B2", "same animal")]


def written(folder: Path, *decisions: Decision, **change: str) -> Path:
    path = folder / "same_animal.csv"
    rows = [asdict(item) | change for item in decisions]
    pl.DataFrame(rows, schema=dict.fromkeys(COLUMNS, pl.String)).write_csv(path)
    return path


def test_decisions_are_read_from_the_study(tmp_path: Path) -> None:
    item = decided("north:A1", "valley:B2")
    assert read_decisions(written(tmp_path, item)) == (item,)
    assert read_decisions(tmp_path / "none.csv") == ()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"decision": "maybe"}, 'the decision "maybe" is not known'),
        ({"because": ""}, '"because" is empty'),
        ({"other_clinic": "north", "other_local_animal": "A1"}, "it names one animal twice"),
    ],
)
def test_an_odd_decision_is_refused_with_its_row(
    tmp_path: Path, change: dict[str, str], says: str
) -> None:
    with pytest.raises(InputFileError) as error:
        read_decisions(written(tmp_path, decided("north:A1", "valley:B2"), **change))
    assert says in str(error.value)
    assert "row 2" in str(error.value)


def test_decisions_that_contradict_each_other_are_refused(tmp_path: Path) -> None:
    lines = (decided("north:A", "lake:B"), decided("lake:B", "valley:C"),
             decided("north:A", "valley:C", "different animals"))  # fmt: skip
    with pytest.raises(InputFileError, match="another line says that the two are one animal"):
        read_decisions(written(tmp_path, *lines))


def test_blocks_lose_no_pair() -> None:
    """2,000 joints of one breed, sex and age: the pairs, counted by comparing all with all."""
    n = 2_000
    place = np.arange(n)
    days, weights = place * 7 % 365, 2.0 + (place * 7919 % 3000) / 100.0
    base = tables_of(joint("A1"))
    codes = pl.Series(place).cast(pl.String)
    when = pl.Series([DAY_0 + timedelta(days=int(day)) for day in days])
    many = {
        name: base[name].select(pl.all().repeat_by(n).explode()) for name in ("stifles", "animals")
    }
    stifles = many["stifles"].with_columns(
        row_id="north/stifles/" + codes, local_animal=codes, local_stifle=codes + ":left",
        surgery_date=when, weight_kg=pl.Series(weights),
    )  # fmt: skip
    animals = many["animals"].with_columns(row_id="north/animals/" + codes, local_animal=codes)
    found = link({**base, "stifles": stifles, "animals": animals,
                  "procedures": base["procedures"].clear()}, holds_of())  # fmt: skip
    near_days = np.abs(days[:, None] - days) <= 3
    near_weights = np.abs(weights[:, None] - weights) <= 0.05 * np.maximum(
        weights[:, None], weights
    )
    expected = int(np.triu(near_days & near_weights, k=1).sum())
    assert found.near_matches.height == expected > 1000
