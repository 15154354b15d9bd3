"""How a clinic is asked for a number that it did not write as one."""

from collections.abc import Callable, Mapping

import pytest

from pipeline.intake.mapped import Mapped

Read = Callable[[Mapping[str, str | bytes], str], Mapped]
MAPPING = """
[[file]]
path = "cases.csv"
[[table]]
make = ["animals", "stifles", "procedures"]
from = "cases"
[table.columns]
local_animal = "Case"
side = { value = "left" }
surgery_date = "Op"
"""


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
    export = {"cases.csv": "Case,Op,X\nA1,2021-03-04,about three\n"}
    mapped = map_export(export, f'{MAPPING}{variable} = "X"\n')
    assert mapped.findings.filter(rule="M02")["fix"].to_list() == [wanted]
