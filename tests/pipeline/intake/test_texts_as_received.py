"""Texts as received stay whole where coded columns meet other texts."""

from collections.abc import Callable

from pipeline.intake.mapped import Mapped, raw_text

Read = Callable[[dict[str, str], str], Mapped]
CASES = """
[[file]]
path = "cases.csv"
[[table]]
make = ["animals", "stifles"]
from = "cases"
[table.columns]
local_animal = "Case"
side = { column = "Limb", codes = { L = "left", R = "right" } }
surgery_date = "Op"
"""
FAREWELLS = """
[[file]]
path = "ends.csv"
[[table]]
fills = "stifles"
from = "ends"
[table.columns]
local_animal = "Case"
side = { column = "Limb", codes = { L = "left", R = "right" } }
end_status = { column = "End", codes = { dead = "died", gone = "lost" } }
"""


def texts(mapped: Mapped, variable: str) -> list[str | None]:
    return mapped.tables["stifles"].select(raw_text(variable)).to_series().to_list()


def test_animal_and_side_stand_for_a_stifle_without_a_code_of_its_own(map_export: Read) -> None:
    export = "Case,Limb,Op,Joint\nA1,L,2021-03-04,J1\nA2,R,2021-03-05,\n"
    mapped = map_export({"cases.csv": export}, CASES + 'local_stifle = "Joint"\n')
    assert texts(mapped, "local_stifle") == ["J1", "A2 R"]


def test_a_text_from_another_file_stands_beside_those_of_the_first(map_export: Read) -> None:
    mapping = CASES + 'end_status = { column = "End", codes = { well = "discharged" } }\n'
    exports = {
        "cases.csv": "Case,Limb,Op,End\nA1,L,2021-03-04,well\nA2,R,2021-03-05,\n",
        "ends.csv": "Case,Limb,End\nA2,R,dead\n",
    }
    assert texts(map_export(exports, mapping + FAREWELLS), "end_status") == ["well", "dead"]


def test_a_file_in_other_words_is_put_below_the_first(map_export: Read) -> None:
    second = CASES.replace("cases", "later").replace("Limb", "Side")
    exports = {
        "cases.csv": "Case,Limb,Op\nA1,L,2021-03-04\n",
        "later.csv": "Case,Side,Op\nA2,R,2021-03-05\n",
    }
    assert texts(map_export(exports, CASES + second), "side") == ["L", "R"]


def test_a_text_that_is_not_understood_is_asked_about_beside_blanks(map_export: Read) -> None:
    export = "Case,Limb,Op\nA1,L,2021-03-04\nA2,R,soon\nA3,L,\n"
    found = map_export({"cases.csv": export}, CASES).findings
    asked = found.filter(variable="surgery_date").select("rule", "value").rows()
    assert sorted(asked) == [("M03", "soon"), ("M06", "")]
