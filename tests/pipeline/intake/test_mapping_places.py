"""A mapping that leaves every row without its day or side, or reads dates as numbers of days."""

import pytest

from shared.errors import MappingError
from tests.pipeline.intake.one_export import TABLE, TOP, Files, Read, export

CASES = f'[dates]\nformats = ["YYYY-MM-DD", "DD.MM.YYYY"]\n{TOP}{TABLE}'
SIDE = 'side = { column = "Limb", codes = { L = "left" } }\n'
DAYS = {"rechecks": "recheck_day", "complications": "detected_day", "revisions": "revision_day"}


def _events(table: str, columns: str) -> str:
    return f"""
[[table]]
make = "{table}"
from = "cases"
[table.columns]
local_animal = "Case"
{columns}"""


def _export(*visits: str) -> Files:
    return export("Visit", *visits)


@pytest.mark.parametrize("table", DAYS)
def test_events_without_their_day_are_one_error(map_export: Read, table: str) -> None:
    with pytest.raises(MappingError, match=f"{table}: nothing gives {DAYS[table]}.*") as told:
        map_export(_export("7"), CASES + _events(table, SIDE))
    assert f'{DAYS[table]} = {{ column = "' in str(told.value)
    assert 'as = "date" }' in str(told.value)


def test_events_without_their_side_are_one_error(map_export: Read) -> None:
    with pytest.raises(MappingError, match="rechecks: nothing gives side"):
        map_export(_export("7"), CASES + _events("rechecks", 'recheck_day = "Visit"\n'))


def test_a_day_that_is_filled_where_blank_is_given(map_export: Read) -> None:
    filled = "[when_blank.complications]\ndetected_day = 0\n"
    mapped = map_export(_export("7"), filled + CASES + _events("complications", SIDE))
    assert mapped.tables["complications"]["detected_day"].to_list() == [0]


def test_dates_read_as_numbers_of_days_are_one_error(map_export: Read) -> None:
    visits = _events("rechecks", SIDE + 'recheck_day = "Visit"\n')
    with pytest.raises(MappingError, match='2 of 3 cells of column "Visit" are dates') as told:
        map_export(_export("11.03.2021", "18.03.2021", "42", ""), CASES + visits)
    assert 'recheck_day = { column = "Visit", as = "date" }' in str(told.value)
    assert "11.03.2021" not in str(told.value)


def test_a_single_date_among_numbers_of_days_is_asked_about(map_export: Read) -> None:
    visits = _events("rechecks", SIDE + 'recheck_day = "Visit"\n')
    mapped = map_export(_export("11.03.2021", "14", "42"), CASES + visits)
    asked = mapped.findings.filter(table="rechecks", variable="recheck_day")
    assert asked.select("rule", "value").rows() == [("M02", "11.03.2021")]
