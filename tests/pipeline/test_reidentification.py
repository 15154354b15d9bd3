"""Cells, k and what reaches it: against published tables, a table by hand, and a recount."""

from collections import Counter
from collections.abc import Sequence
from itertools import product
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.reidentification import Reidentification, cell_sizes, measure
from pipeline.reidentification_facts import FACTS, LADDERS, facts_of_animals, told
from pipeline.report.reidentification_page import CAUTION, page, write_reidentification

# Sweeney 2002 (reference in reidentification.py), figure 2, from memory: k = 2 over race, birth,
# gender and ZIP code; eleven rows t1 to t11.
SWEENEY = [
    ("Black", 1965, "m", "0214*"), ("Black", 1965, "m", "0214*"), ("Black", 1965, "f", "0213*"),
    ("Black", 1965, "f", "0213*"), ("Black", 1964, "f", "0213*"), ("Black", 1964, "f", "0213*"),
    ("White", 1964, "m", "0213*"), ("White", 1964, "m", "0213*"), ("White", 1964, "m", "0213*"),
    ("White", 1967, "m", "0213*"), ("White", 1967, "m", "0213*"),
]  # fmt: skip
# Machanavajjhala et al. 2007 (ACM Trans Knowl Discov Data 1:3), figures 1 and 2, from memory:
# twelve inpatients, and the same told so coarsely that the table is 4-anonymous.
INPATIENTS = [
    (13053, 28, "Russian"), (13068, 29, "American"), (13068, 21, "Japanese"),
    (13053, 23, "American"), (14853, 50, "Indian"), (14853, 55, "Russian"),
    (14850, 47, "American"), (14850, 49, "American"), (13053, 31, "American"),
    (13053, 37, "Indian"), (13068, 36, "Japanese"), (13068, 35, "American"),
]  # fmt: skip


def test_cells_are_those_of_a_published_table_of_k_2() -> None:
    table = pl.DataFrame(SWEENEY, schema=["race", "birth", "gender", "zip"], orient="row")
    assert cell_sizes(table, table.columns).to_list() == [2, 2, 2, 2, 3]


def test_coarser_facts_make_a_published_table_4_anonymous() -> None:
    table = pl.DataFrame(INPATIENTS, schema=["zip", "age", "nation"], orient="row")
    assert cell_sizes(table, table.columns)[0] == 1
    age = pl.col("age")
    coarser = table.select(
        zip=pl.when((age >= 30) & (age < 40) | (age < 30)).then(pl.col("zip") // 100)
        .otherwise(pl.col("zip") // 10),
        age=pl.when(age < 30).then(0).when(age < 40).then(30).otherwise(40),
    )  # fmt: skip
    assert cell_sizes(coarser, coarser.columns).to_list() == [4, 4, 4]


def animals(rows: Sequence[tuple[str, str, str, float | None, int]]) -> dict[str, pl.DataFrame]:
    """Make linked tables of animals: clinic, breed, sex, age in months, year."""
    named = [f"animal-{place:04d}" for place in range(len(rows))]
    frame = pl.DataFrame(
        rows, schema=["clinic_id", "breed", "sex_neuter", "age_months", "surgery_year"],
        orient="row", schema_overrides={"age_months": pl.Float64},
    ).with_columns(animal_id=pl.Series(named, dtype=pl.String))  # fmt: skip
    return {
        "stifles": frame.select(
            "animal_id", "clinic_id", "age_months", "surgery_year",
            stifle_id=pl.col("animal_id") + ":left",
            surgery_date=pl.date("surgery_year", 3, 1),
        ),
        "animals": frame.select(
            "animal_id", "clinic_id", "breed", "sex_neuter", species=pl.lit("dog"),
            row_id="animal_id",
        ),
    }  # fmt: skip


BY_HAND = [
    *[("north", "Pug", "male_entire", 14.0, 2020)] * 5,
    *[("north", "Pug", "male_neutered", 20.0, 2020)] * 2,
    ("north", "Beagle", "female_entire", None, 2020),
]


def test_a_small_table_by_hand() -> None:
    """Eight animals: a cell of 5, one of 2 and one alone.

    Telling only female or male joins 5 and 2. The beagle is left: of another breed, another sex
    and of no known age, which join the others at the second, second and third step.
    """
    measured = measure(animals(BY_HAND), k=5)
    now = measured.as_it_stands
    assert [now[name] for name in ("cells", "smallest_cell", "animals_under_k")] == [3, 1, 3]
    assert now["unique_animals"] == 1
    assert now["share_under_k"] == pytest.approx(3 / 8)
    assert measured.cells["animals"].to_list() == [1, 2, 5]
    one_step = measured.ways.filter(pl.col("steps") == 1, pl.col("sex") == "female or male")
    assert one_step.select("animals_under_k", "cells", "smallest_cell").rows() == [(1, 2, 1)]
    reached = measured.reaching(0.0)
    assert reached["animals_under_k"].to_list() == [0]
    assert reached.select("breed", "sex", "age", "steps").rows() == [
        ("breeds of fewer than 20 animals as other", "not given", "not given", 2 + 2 + 3)
    ]
    assert measured.reaching(0.125)["steps"].to_list() == [1]


@pytest.fixture(scope="module")
def many() -> dict[str, pl.DataFrame]:
    """Three hundred invented animals, without chance: each fact turns at a pace of its own."""
    sexes = ("female_entire", "female_neutered", "male_entire", "male_neutered")
    rows = [
        (("north", "lake")[n % 2], f"breed {n * n % 23 % 9}", sexes[n % 4],
         None if n % 41 == 0 else float(3 + n * 7 % 110), 2015 + n * n % 17 % 7)
        for n in range(300)
    ]  # fmt: skip
    return animals(rows)


def test_every_way_is_right_when_recounted_from_scratch(many: dict[str, pl.DataFrame]) -> None:
    """Count the told facts of each animal in plain Python; after leaving out, no cell is small."""
    measured = measure(many, k=5)
    facts = facts_of_animals(many).with_columns(animals=pl.lit(1))
    by_animal = told(facts).to_dicts()
    assert measured.ways.height == len(list(product(*LADDERS.values()))) == 384
    for way in measured.ways.to_dicts():
        names = [f"{fact}:{LADDERS[fact].index(way[fact])}" for fact in FACTS]
        sizes = Counter(tuple(row[name] for name in names) for row in by_animal)
        small = [size for size in sizes.values() if size < 5]
        assert (way["animals_under_k"], way["cells_under_k"]) == (sum(small), len(small))
        assert way["smallest_cell"] == min(sizes.values())
        assert way["unique_animals"] == sum(size == 1 for size in sizes.values())
        assert way["cells"] == len(sizes)


def test_each_step_tells_less_and_the_path_ends_without_small_cells(
    many: dict[str, pl.DataFrame],
) -> None:
    """No step parts animals that the step before joined (but for rare breeds, see the ladder)."""
    rows = told(facts_of_animals(many).with_columns(animals=pl.lit(1)))
    for fact, ladder in LADDERS.items():
        for level in range(1, len(ladder)):
            finer, coarser = f"{fact}:{level - 1}", f"{fact}:{level}"
            assert (rows.group_by(finer).agg(pl.col(coarser).n_unique())[coarser] == 1).all()
    path = measure(many, k=5).path
    assert path["steps"].to_list() == list(range(path.height))
    assert path["animals_under_k"][-1] == 0
    assert path["smallest_cell"][-1] >= 5


def test_an_animal_is_counted_once_as_it_was_at_its_first_surgery() -> None:
    tables = animals([("north", "Pug", "male_entire", 30.0, 2021)])
    later = tables["stifles"].with_columns(
        stifle_id=pl.lit("animal-0000:right"), surgery_year=pl.lit(2019, pl.Int64),
        surgery_date=pl.date(2019, 3, 1), age_months=pl.lit(6.0),
    )  # fmt: skip
    tables["stifles"] = pl.concat([tables["stifles"], later])
    assert facts_of_animals(tables).rows() == [("north", "dog: Pug", "male_entire", "0", "2019")]


def test_a_table_of_nobody_has_no_cells() -> None:
    nobody = {name: frame.clear() for name, frame in animals(BY_HAND).items()}
    measured = measure(nobody, k=5)
    assert (measured.animals, measured.as_it_stands["cells"]) == (0, 0)
    assert "0 cells" in page(measured, "A study")


def test_the_page_says_that_it_measures_and_stays_with_the_coordinator(tmp_path: Path) -> None:
    odd = [("north", "<b>Pug</b>", "male_entire", 14.0, 2020)]
    measured: Reidentification = measure(animals([*BY_HAND, *odd]), k=5)
    paths = write_reidentification(tmp_path, measured, title="A study")
    assert [path.parent for path in paths] == [tmp_path] * 3
    text = paths[0].read_text("utf-8")
    assert CAUTION in text
    assert "<b>Pug" not in text
    ways = pl.read_csv(paths[1])
    assert ways.height == 384


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1280])
def test_the_page_fits_small_and_large_screens(
    many: dict[str, pl.DataFrame], open_page: Any, tmp_path: Path, width: int
) -> None:
    paths = write_reidentification(tmp_path, measure(many, k=5), title="A study")
    opened = open_page(paths[0], width=width)
    assert opened.find_element("id", "stands").is_displayed()
