"""Values of a category: codes of the codebook's own words, from the cell to the accepted row."""

from dataclasses import replace

import polars as pl
import pytest

from pipeline.check import check
from pipeline.intake.mapped import Mapped
from pipeline.intake.study_intake import together
from schemas.codebook import CANONICAL_TABLES, Variable, of_table
from tests.pipeline.intake.one_export import TABLE, TOP, Read, export

WORDS = """
tb_pattern = { column = "Pattern", codes = { eight = "figure_of_eight" }, other_texts = "keep" }
"""
PATTERNS = export("Pattern", "eight", "simple_loop", "knot", "")


@pytest.fixture
def mapped(map_export: Read) -> Mapped:
    return map_export(PATTERNS, TOP + TABLE + WORDS)


def assert_declared(frames: dict[str, pl.DataFrame], codebook: tuple[Variable, ...]) -> None:
    for table in CANONICAL_TABLES:
        for item in of_table(codebook, table):
            assert frames[table].schema[item.name] == item.dtype, item.name


def test_values_are_of_the_declared_codes_through_all_checks(
    mapped: Mapped, codebook: tuple[Variable, ...]
) -> None:
    pattern = mapped.tables["procedures"].schema["tb_pattern"]
    assert pattern == pl.Enum(["figure_of_eight", "simple_loop", "modified_hemicerclage", "other"])
    both = together([mapped, mapped])
    assert_declared(dict(both.tables), codebook)
    assert_declared(dict(check(mapped, codebook).tables), codebook)


def test_a_text_that_is_no_code_is_asked_about_even_where_others_are_kept(mapped: Mapped) -> None:
    assert mapped.tables["procedures"]["tb_pattern"].to_list() == [
        "figure_of_eight", "simple_loop", None, None,
    ]  # fmt: skip
    asked = mapped.findings.filter(pl.col("variable") == "tb_pattern")
    assert asked.select("rule", "action", "value").rows() == [("M01", "hold", "knot")]


def test_a_category_without_codes_keeps_any_text(codebook: tuple[Variable, ...]) -> None:
    pattern = next(item for item in codebook if item.name == "tb_pattern")
    assert replace(pattern, codes={}).dtype == pl.String()
    assert replace(pattern, kind="string").dtype == pl.String()
