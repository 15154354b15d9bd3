"""How clinics write their cells, one small file each, and what the mapping makes of it."""

import pytest

from shared.errors import MappingError
from tests.pipeline.intake.one_export import GAUGE, TABLE, TOP, Read, export, read_column, reasons

MISSING = '[missing]\nnot_recorded = ["-9"]\nnot_applicable = ["n.a."]\n'
LEFT_RIGHT = """
[[table]]
make = ["animals", "stifles", "procedures"]
from = "cases"
block = [
    { name = "left", words = { k = "1" }, values = { side = "left" } },
    { name = "right", words = { k = "2" }, values = { side = "right" } },
]
[table.columns]
local_animal = "Case"
surgery_date = "Op"
lameness_preop = { column = "X", split = "/", part = "{k}" }
"""


def test_two_values_in_a_cell_belong_to_left_and_right(map_export: Read) -> None:
    mapped = map_export(export("X", "-9/3", "2/", "1 / n.a."), MISSING + TOP + LEFT_RIGHT)
    stifles = mapped.tables["stifles"].select("local_stifle", "lameness_preop")
    assert stifles.rows() == [
        ("A1:left", None), ("A1:right", 3), ("A2:left", 2), ("A2:right", None),
        ("A3:left", 1), ("A3:right", None),
    ]  # fmt: skip
    assert reasons(mapped, "lameness_preop") == ["not_recorded", "not_recorded", "not_applicable"]
    assert mapped.findings.filter(variable="lameness_preop").is_empty()


def test_a_cell_with_another_number_of_values_is_asked(map_export: Read) -> None:
    mapped = map_export(export("X", "3", "1/2/3"), TOP + LEFT_RIGHT)
    found = mapped.findings.filter(variable="lameness_preop")
    assert found.select("rule", "value").rows() == [("M02", "3")] * 2 + [("M02", "1/2/3")] * 2


def test_a_free_code_list_is_split_by_declared_patterns(map_export: Read) -> None:
    words = """
[[table.list]]
column = "X"
separators = ["+"]
words = [
    { is = "BR", sets = { sulcoplasty_type = "block_recession" } },
    { pattern = "TTT([1-4])", sets = { ttt_done = true, kwire_count = "$1" } },
    { pattern = "FO([0-9,]+)", sets = { tension_band_done = true, tb_wire_diameter_mm = "$1" } },
    { is = "LI", sets = { lateral_imbrication = true } },
]
otherwise = [{ sets = { sulcoplasty_type = "none", lateral_imbrication = false } }]
"""
    decimal = '[numbers]\ndecimal = ","\n'
    cells = ("BR+TTT2+FO0,8+LI", "ttt1", "BR+XX", "TTT1+TTT2", "FO0.8")
    mapped = map_export(export("X", *cells), decimal + TOP + TABLE + words)
    names = ["sulcoplasty_type", "kwire_count", "tb_wire_diameter_mm", "lateral_imbrication"]
    assert mapped.tables["procedures"].select(names).rows() == [
        ("block_recession", 2, 0.8, True), ("none", 1, None, False),
        ("block_recession", None, None, None), (None, None, None, None), (None,) * 4,
    ]  # fmt: skip
    asked = mapped.findings.filter(rule="M05").sort("row")
    assert asked.select("row", "value").rows() == [(4, "BR+XX"), (5, "TTT1+TTT2"), (6, "FO0.8")]


def test_a_group_that_is_no_code_is_asked_not_passed_on(map_export: Read) -> None:
    words = """
[[table.list]]
column = "X"
words = [{ pattern = "TTT (.+)", sets = { ttt_direction = "$1" } }]
"""
    mapped = map_export(export("X", "TTT Lateral", "TTT upward"), TOP + TABLE + words)
    assert mapped.tables["procedures"]["ttt_direction"].to_list() == ["lateral", None]
    assert mapped.findings.select("rule", "value").rows() == [
        ("M05", "TTT upward"), ("M09", ""),
    ]  # fmt: skip


def test_a_pattern_that_is_not_in_a_cell_may_say_why(map_export: Read) -> None:
    settings = '{ column = "X", pattern = "TB([0-9]+)", unit = "gauge", absent = "not_applicable" }'
    mapped, sizes = read_column(
        map_export, "tb_wire_diameter_mm", settings, "BR+TB20", "BR", "", "TB99", top=GAUGE
    )
    assert sizes == [0.8, None, None, None]
    assert reasons(mapped, "tb_wire_diameter_mm") == ["not_applicable", "not_recorded"]
    assert mapped.findings.filter(rule="M04").select("row", "value").rows() == [(5, "TB99")]


def test_missing_words_have_reasons_of_their_own_column(map_export: Read) -> None:
    settings = (
        '{ column = "X", missing = { not_examined = ["?"], not_applicable = [99],'
        ' not_yet_due = ["later  on"], blank = "not_applicable" } }'
    )
    mapped, grades = read_column(
        map_export, "grade_preop", settings, "?", "99", "Later on", "", "-9", "3", top=MISSING
    )
    assert grades == [None] * 5 + [3]
    assert reasons(mapped, "grade_preop") == [
        "not_examined", "not_applicable", "not_yet_due", "not_applicable", "not_recorded",
    ]  # fmt: skip


def test_a_code_of_a_column_wins_over_a_missing_word_of_the_clinic(map_export: Read) -> None:
    _, done = read_column(
        map_export, "ttt_done", '{ column = "X", codes = { "-" = false, x = true } }', "-", "x",
        top='[missing]\nnot_recorded = ["-"]\n',
    )  # fmt: skip
    assert done == [False, True]


def test_the_same_letter_has_its_meaning_by_column(map_export: Read) -> None:
    """D is droite in one column and distal in another: a code never leaves its column."""
    files = {"cases.csv": "Case;Limb;Op;X;Y\nA1;D;2021-03-04;M;M\n"}
    table = TABLE.replace('R = "right"', 'D = "right"') + (
        'luxation_direction = { column = "X", codes = { M = "medial" } }\n'
        'sex_neuter = { column = "Y", codes = { M = "male_entire" } }\n'
    )
    mapped = map_export(files, TOP + table)
    assert mapped.tables["stifles"].select("side", "luxation_direction").rows() == [
        ("right", "medial")
    ]
    assert mapped.tables["animals"]["sex_neuter"].to_list() == ["male_entire"]


REPEATED = """
[[file]]
path = "cases.csv"
delimiter = ";"
repeated_headers = "number"
[[table]]
make = ["animals", "stifles"]
from = "cases"
[table.columns]
local_animal = "Case"
side = { value = "left" }
surgery_date = "Op"
[[table]]
make = "rechecks"
from = "cases"
block = [{ name = "recheck {n}", repeat = 3, present = ["Date ({n})"] }]
[table.columns]
local_animal = "Case"
side = { value = "left" }
recheck_day = { column = "Date ({n})", as = "date" }
patella_grade = "Grade ({n})"
"""


def test_blocks_of_the_same_headers_become_rows(map_export: Read) -> None:
    files = {"cases.csv": "Case;Op;Date;Grade;Date;Grade;Date;Grade\n"
                          "A1;2021-03-04;2021-03-18;0;2021-04-15;1;;\n"}  # fmt: skip
    mapped = map_export(files, REPEATED)
    assert mapped.tables["rechecks"].select("recheck_day", "patella_grade", "block").rows() == [
        (14, 0, "recheck 1"), (42, 1, "recheck 2"),
    ]  # fmt: skip
    assert mapped.findings.is_empty()


def test_blocks_may_be_counted_with_two_digits(map_export: Read) -> None:
    files = {"cases.csv": "Case;Op;D01;G01;D02;G02;D03;G03\nA1;2021-03-04;2021-03-18;0;;;;\n"}
    mapping = REPEATED.replace("Date ({n})", "D{nn}").replace("Grade ({n})", "G{nn}")
    assert map_export(files, mapping).tables["rechecks"]["recheck_day"].to_list() == [14]


FROM_ABOVE = TOP + TABLE.replace('"Case"', '{ column = "Case", from_above = true }').replace(
    'column = "Limb"', 'column = "Limb", from_above = true'
)


def test_a_code_written_once_for_several_rows_is_taken_from_above(map_export: Read) -> None:
    files = {"cases.csv": "Case;Limb;Op\nA1;L;2021-03-04\n;R;2021-03-05\nA2;;2021-03-06\n"}
    mapped = map_export(files, FROM_ABOVE)
    assert mapped.tables["stifles"].select("local_stifle", "row").rows() == [
        ("A1:left", 2), ("A1:right", 3), ("A2:right", 4),
    ]  # fmt: skip
    marks = mapped.marks.filter(mark="other_row", table="stifles")
    assert marks.select("row_id", "variable", "row", "column").rows() == [
        ("clinic/stifles/2", "local_stifle", 2, "Limb"),
        ("clinic/stifles/3", "local_stifle", 3, "Limb"),
        ("clinic/stifles/2", "local_animal", 2, "Case"),
        ("clinic/stifles/3", "side", 3, "Limb"),
    ]  # fmt: skip


def test_without_the_setting_a_blank_code_is_asked_and_never_taken_from_above(
    map_export: Read,
) -> None:
    files = {"cases.csv": "Case;Limb;Op\nA1;L;2021-03-04\n;R;2021-03-05\n"}
    mapped = map_export(files, TOP + TABLE)
    assert mapped.findings.filter(rule="M06", table="stifles").select("row", "action").rows() == [
        (3, "stop")
    ]


def test_rows_are_set_aside_by_declared_rules_with_their_reasons(map_export: Read) -> None:
    rules = """set_aside = [
    { column = "Case", matches = "^(TOTAL|Exported)", reason = "totals row" },
    { when = [{ column = "Case", is = "TEST" }, { column = "X", is_not = "ok" }], reason = "test" },
]
"""
    files = {"cases.csv": "Case;Limb;Op;X\nA1;L;2021-03-04;ok\nTOTAL;;;1\nTEST;L;2021-03-04;no\n"
                          "TEST;R;2021-03-04;ok\n"}  # fmt: skip
    mapped = map_export(files, TOP + rules + TABLE)
    assert mapped.set_aside.select("row", "reason").rows() == [
        (3, "totals row"), (4, "test"),
    ]  # fmt: skip
    assert mapped.tables["stifles"]["local_animal"].to_list() == ["A1", "TEST"]
    assert mapped.ledger.select("source_rows", "mapped", "set_aside").rows() == [(4, 2, 2)]


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ('X = { column = "X", as = "duration" }', "durations need"),
        ('Y = { column = "X", unit = "gauge" }', "wire gauges need"),
        ('Y = { column = "X", unit = { ga = "gauge" } }', "wire gauges need"),
        ('Z = { column = "X", format = "DD MMM YYYY" }', "names of months are wanted"),
        ('W = { column = "X", split = "/" }', "split and part go together"),
        ('W = { column = "X", split = "/", part = 3 }', "none of 2 parts"),
        ('W = { column = "X", absent = "not_applicable" }', "absent is said of a pattern"),
        ('W = { column = "X", missing = { blank = "no" } }', '"no" is not known'),
        ('R = { column = "X", nominal_days = "half_step" }', "a planned day needs a unit"),
        ('W = { column = "X", codes = { a = "$1" } }', '"$1" is no float'),
        ('W = { value = "much" }', '"much" is no float'),
    ],
)
def test_settings_that_could_never_be_read_are_refused(
    map_export: Read, settings: str, words: str
) -> None:
    names = {"X": "age_months", "Y": "kwire_diameter_mm", "Z": "surgery_date", "W": "weight_kg",
             "R": "age_months"}  # fmt: skip
    table = TABLE.replace('surgery_date = "Op"\n', "") if settings.startswith("Z") else TABLE
    line = names[settings[0]] + settings[1:]
    with pytest.raises(MappingError) as refused:
        map_export(export("X", "1"), TOP + table + line + "\n")
    assert words in str(refused.value)


@pytest.mark.parametrize("numbers", ['decimal = ","\ngroup = ","', 'decimal = ""', 'group = ".."'])
def test_marks_of_numbers_are_single_and_different(map_export: Read, numbers: str) -> None:
    with pytest.raises(MappingError, match="decimal is one mark"):
        map_export(export("X", "1"), f"[numbers]\n{numbers}\n{TOP}{TABLE}")


def test_a_word_of_a_block_may_stand_in_a_pattern(map_export: Read) -> None:
    table = LEFT_RIGHT.replace('split = "/", part = "{k}"', 'pattern = "{w}=([0-9])"').replace(
        'k = "1"', 'w = "li"'
    )
    mapped = map_export(export("X", "li=2, re=4"), TOP + table.replace('k = "2"', 'w = "re"'))
    assert mapped.tables["stifles"]["lameness_preop"].to_list() == [2, 4]
