"""Whether a sheet's columns are coded or texts, a clinic's rows, questions and counts are equal."""

from dataclasses import fields, replace
from pathlib import Path

import polars as pl
import pytest

import shared
from pipeline.check import check
from pipeline.intake.coded import as_text, is_coded
from pipeline.intake.many_files import with_every_file
from pipeline.intake.map import map_clinic
from pipeline.intake.read import read_file
from pipeline.intake.screen import screen
from pipeline.intake.study_intake import clinic_mapping
from schemas.codebook import Variable

DEMO = Path(shared.__file__).parent / "demo"


def frames_of(made: object) -> dict[str, pl.DataFrame]:
    """Give every frame of a result by its name, in text."""
    found: dict[str, pl.DataFrame] = {}
    for item in fields(made):  # type: ignore[arg-type]
        value = getattr(made, item.name)
        parts = {"": value} if isinstance(value, pl.DataFrame) else value
        found |= {f"{item.name} {name}": as_text(frame) for name, frame in parts.items()}
    return found


def assert_alike(one: object, other: object) -> None:
    left, right = frames_of(one), frames_of(other)
    assert list(left) == list(right)
    for name, frame in left.items():
        assert frame.schema == right[name].schema, name
        assert frame.equals(right[name]), name


@pytest.mark.parametrize("clinic", ["harbour", "plateau"])
def test_rows_and_questions_are_equal(clinic: str, codebook: tuple[Variable, ...]) -> None:
    export = DEMO / "exports" / clinic
    mapping = with_every_file(clinic_mapping(DEMO, clinic, codebook), export)
    coded, plain = {}, {}
    for source in mapping.files:
        sheet = read_file(export, source)
        coded[source.name], found = screen(sheet, mapping, source.name)
        plain[source.name], same = screen(
            replace(sheet, rows=as_text(sheet.rows)), mapping, source.name
        )
        assert found.equals(same)
    assert any(is_coded(cells) for sheet in coded.values() for cells in sheet.rows.iter_columns())
    mapped = map_clinic(coded, mapping, codebook), map_clinic(plain, mapping, codebook)
    assert_alike(*mapped)
    assert_alike(*(check(item, codebook) for item in mapped))
