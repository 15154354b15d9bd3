"""Rows are found by the codes of their clinic, and joints stand in the order of their ids."""

import polars as pl
import pytest

from pipeline.link_animals import number_animals
from pipeline.link_keys import Marks, RowsByKey, StifleRows, animals_of
from tests.pipeline.invented import joint, linked_of

STIFLES = [("north", "A:left"), ("north", "B:left"), ("valley", "A:left")]


def keys(*rows: tuple[str, str], code: str = "local_stifle") -> pl.DataFrame:
    return pl.DataFrame(rows, schema={"clinic_id": pl.String, code: pl.String}, orient="row")


def test_a_code_means_the_row_of_its_own_clinic() -> None:
    children = {
        "rechecks": keys(("valley", "A:left"), ("north", "A:left"), ("valley", "A:left")),
        "implants": keys(),
        "procedures": keys(*STIFLES),
        "revisions": keys(("lake", "A:left"), ("north", "B:left"), ("north", "A:righ")),
    }
    known = StifleRows(keys(*STIFLES))
    assert {name: known.of(table).to_list() for name, table in children.items()} == {
        "rechecks": [2, 0, 2], "implants": [], "procedures": [0, 1, 2],
        "revisions": [None, 1, None],
    }  # fmt: skip


def test_tables_without_rows_find_none() -> None:
    assert StifleRows(keys(*STIFLES)).of(keys()).to_list() == []
    assert StifleRows(keys()).of(keys()).to_list() == []
    assert StifleRows(keys()).of(keys(STIFLES[0])).to_list() == [None]


def test_three_hundred_thousand_codes_are_told_apart() -> None:
    """Every row of a shuffled copy, and none that is not there, is found as a plain look-up has it.

    More rows are asked than are looked up at a time.
    """
    codes = [(f"clinic{place % 7}", f"{place // 7}") for place in range(300_000)]
    frame = keys(*codes[:200_000], code="local_animal")
    asked = keys(*codes, code="local_animal").sample(fraction=1, shuffle=True, seed=3)
    places = {key: place for place, key in enumerate(codes[:200_000])}
    assert animals_of(asked, frame).to_list() == [places.get(key) for key in asked.rows()]


def test_a_code_that_stands_twice_means_one_of_its_rows() -> None:
    twice = keys(*STIFLES, *STIFLES[:1] * 2000)
    asked = keys(*STIFLES[:2], ("lake", "A:left"))
    first, *others = StifleRows(twice).of(asked).to_list()
    assert (twice.row(first), others) == (STIFLES[0], [1, None])


class EightMarks(RowsByKey):
    """With its first two seeds it has eight marks for all keys there are."""

    def marks_of(self, keys: pl.DataFrame) -> Marks:
        marks = super().marks_of(keys)
        return marks % 8 if self.seed < 3 else marks


def test_marks_are_made_anew_until_no_two_codes_share_one() -> None:
    known = EightMarks(many := keys(*((f"clinic{place % 3}", f"{place}") for place in range(90))))
    assert known.seed == 3
    assert known.rows_of(many).to_list() == list(range(90))


def test_codes_with_one_token_are_the_first_of_them_in_order_of_names() -> None:
    animals = pl.DataFrame(
        {
            "clinic_id": ["valley", "north", "north", "lake", "lake"],
            "local_animal": ["V9", "A2", "A1", "L1", "L2"],
            "link_token": [" t1", "t1 ", None, "  ", "t2"],
        }
    )
    assert number_animals(animals).rows() == [
        ("north:A2", 1, True), ("north:A2", 1, True), ("north:A1", 2, False),
        ("lake:L1", 3, False), ("lake:L2", 4, False),
    ]  # fmt: skip
    assert number_animals(animals.clear()).height == 0


@pytest.mark.parametrize(
    "codes",
    [("A", "A-1", "A1", "A.2", "B", "Å"), ("A", "A:left", "A:", "A:a", "A0", ":")],
    ids=["as codes are", "with colons"],
)
def test_stifles_stand_in_the_order_of_their_ids(codes: tuple[str, ...]) -> None:
    joints = [joint(code, side=side, clinic=clinic) for code in reversed(codes)
              for side in ("right", "left") for clinic in ("north", "north-2")]  # fmt: skip
    ids = linked_of(*joints).tables["stifles"]["stifle_id"].to_list()
    assert len(ids) == 24
    assert ids == sorted(ids)
