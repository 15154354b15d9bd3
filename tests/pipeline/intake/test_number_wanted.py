"""How a clinic is asked for a number that it did not write as one."""

import pytest

from tests.pipeline.intake.one_export import Read, read_column


@pytest.mark.parametrize(
    ("variable", "wanted"),
    [
        ("grade_preop", "Write the grade before surgery as a number."),
        ("weight_kg", "Write the number in kg."),
        ("age_months", "Write the age at surgery as a number of months."),
        ("kwire_count", "Write the number of K-wires."),
    ],
)
def test_the_number_is_asked_for_as_it_is_written(
    map_export: Read, variable: str, wanted: str
) -> None:
    mapped, _ = read_column(map_export, variable, '"X"', "about three")
    assert mapped.findings.filter(rule="M02")["fix"].to_list() == [wanted]
