"""A mapping file that is wrong is refused with the place and the nearest right word."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.intake.mapped import Mapped
from pipeline.intake.mapping_file import read_mapping
from schemas.codebook import Variable
from shared.errors import InputFileError, MappingError, StudyError

EXPORT = "Case,Limb,Op,Kg\nA1,L,2021-03-04,4.2\n"
MAPPING = """
[clinic]
clinic_type = "university"
[[file]]
path = "cases.csv"
[[table]]
make = ["animals", "stifles"]
from = "cases"
[table.columns]
local_animal = "Case"
side = { column = "Limb", codes = { L = "left", R = "right" } }
surgery_date = "Op"
weight_kg = "Kg"
"""
Read = Callable[[dict[str, str | bytes], str], Mapped]


def test_the_mapping_itself_is_right(map_export: Read) -> None:
    mapped = map_export({"cases.csv": EXPORT}, MAPPING)
    assert mapped.findings.is_empty()
    assert mapped.tables["clinics"].select("clinic_id", "clinic_type", "file").rows() == [
        ("clinic", "university", "mappings/clinic.toml")
    ]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("path =", "pfad =", ('the key "path" is missing', "pfad")),
        (
            'path = "cases.csv"',
            'path = "cases.csv"\ndelimeter = ";"',
            ('"delimeter" is unknown', 'Did you mean "delimiter"'),
        ),
        ("clinic_type", "clinic_typ", ('"clinic_typ" is not known', 'Did you mean "clinic_type"')),
        (
            '"university"',
            '"univercity"',
            ('"univercity" is not known', 'Did you mean "university"'),
        ),
        ("weight_kg", "weigth_kg", ('"weigth_kg" is not known', 'Did you mean "weight_kg"')),
        ('"left"', '"lft"', ('"lft" is not known', 'Did you mean "left"')),
        ('from = "cases"', 'from = "case"', ('"case" is not known', 'Did you mean "cases"')),
        ('"stifles"]', '"stifle"]', ('"stifle" is not known', 'Did you mean "stifles"')),
        (
            '"Op"',
            '{ column = "Op", formt = "DD" }',
            ('"formt" is unknown', 'Did you mean "format"'),
        ),
        ('"Kg"', '{ column = "Kg", unit = "lbs" }', ('"lbs" is not known', 'Did you mean "lb"')),
        ('"Kg"', '{ column = "Kg", unit = "weeks" }', ('"weeks" is not known',)),
        ('"Kg"', '"Weight"', ('there is no column "Weight"', "mappings/clinic.toml")),
        ('"Kg"', '{ unit = "kg" }', ("neither column nor value",)),
        ('"Kg"', '{ column = "Kg", pattern = "(" }', ("the pattern", "is wrong")),
        (
            '"Kg"',
            '{ column = "Kg", only_if = { grade_preop = 2 } }',
            ("grade_preop is asked for but not mapped",),
        ),
        ("[table.columns]", "[table.column]", ('"column" is unknown', 'Did you mean "columns"')),
        ('surgery_date = "Op"', "", ("surgery_date is not mapped",)),
        ('local_animal = "Case"', "", ("local_animal is not mapped",)),
        ('path = "cases.csv"', 'path = "cases.csv"\nencoding = "utf-9"', ("does not exist",)),
        ('path = "cases.csv"', 'path = "cases.csv"\nheader_row = "2"', ("no whole number",)),
        ('path = "cases.csv"', 'path = "cases.csv"\ndelimiter = ";;"', ("one character",)),
        (
            'path = "cases.csv"',
            'path = "cases.csv"\nignore = ["Note"]',
            ('there is no column "Note"',),
        ),
        (
            'path = "cases.csv"',
            'path = "cases.csv"\n[[file]]\npath = "cases.csv"',
            ("stands twice",),
        ),
        ("[clinic]", '[clinic]\naccrual_start = "05.01.2015"', ('"05.01.2015" is no date',)),
        ("[clinic]", "[klinik]\n[clinic]", ('"klinik" is unknown', 'Did you mean "clinic"')),
        ("[clinic]", 'clinic_id = "klinik"\n[clinic]', ("the file is called clinic.toml",)),
        ("[clinic]", "[clinic", ("this is no TOML",)),
        ("[clinic]", '[dates]\nmonths = { mar = "3" }\n[clinic]', ("no whole number",)),
        ('"Kg"', '{ column = "Kg", pattern = "^x" }', ("has no group",)),
        ("[clinic]", '[dates]\nformats = ["dd/mm"]\n[clinic]', ("is no date format",)),
        ("[clinic]", '[dates]\nformats = ["MM/YYYY"]\n[clinic]', ("is no date format",)),
        ("[clinic]", '[dates]\nformats = ["MM/DDYY"]\n[clinic]', ("is no date format",)),
        ('L = "left"', 'L = "left", l = "right"', ("differ only in case",)),
    ],
)
def test_a_wrong_mapping_is_one_message_with_place_and_remedy(
    map_export: Read, old: str, new: str, words: tuple[str, ...]
) -> None:
    assert old in MAPPING
    with pytest.raises(MappingError) as error:
        map_export({"cases.csv": EXPORT}, MAPPING.replace(old, new, 1))
    for word in words:
        assert word in str(error.value)
    assert error.value.do
    assert error.value.exit_code == 2


def test_the_filled_example_of_the_readme_is_a_valid_mapping(
    tmp_path: Path, codebook: tuple[Variable, ...]
) -> None:
    readme = Path(__file__).parents[3] / "pipeline" / "intake" / "README.md"
    example = readme.read_text("utf-8").split("```toml\n")[1].split("```")[0]
    (tmp_path / "valley.toml").write_text(example, "utf-8")
    mapping = read_mapping(tmp_path / "valley.toml", codebook)
    assert [table.fills for table in mapping.tables] == [False, False, True]
    assert len(mapping.tables[1].blocks) == 8


def test_a_variable_cannot_be_mapped_twice(map_export: Read) -> None:
    twice = MAPPING + (
        '[[table.list]]\ncolumn = "Kg"\nwords = [{ is = "4.2", sets = { weight_kg = 4.2 } }]\n'
    )
    with pytest.raises(MappingError, match="weight_kg is mapped twice"):
        map_export({"cases.csv": EXPORT}, twice)


def test_a_workbook_cannot_have_a_mark_between_thousands(map_export: Read) -> None:
    mapping = '[numbers]\ngroup = "."\ndecimal = ","\n' + MAPPING.replace("cases.csv", "cases.xlsx")
    with pytest.raises(MappingError, match="Leave group out"):
        map_export({"cases.xlsx": b""}, mapping)


def test_an_export_without_its_file_is_one_message(map_export: Read) -> None:
    with pytest.raises(InputFileError, match=r'the file is not there[\s\S]*"case\.csv"'):
        map_export({"case.csv": EXPORT}, MAPPING)


def test_an_empty_file_and_a_wrong_encoding_are_one_message(map_export: Read) -> None:
    with pytest.raises(StudyError, match="the file is empty"):
        map_export({"cases.csv": ""}, MAPPING)
    with pytest.raises(StudyError, match="a byte is not utf-8"):
        map_export({"cases.csv": EXPORT.replace("A1", "Ä1").encode("cp1252")}, MAPPING)


def test_a_header_alone_is_an_export_of_no_rows(map_export: Read) -> None:
    mapped = map_export({"cases.csv": "Case,Limb,Op,Kg\n"}, MAPPING)
    assert mapped.tables["stifles"].is_empty()
    assert mapped.ledger["source_rows"].to_list() == [0]
    assert mapped.findings.select("rule", "file").rows() == [("M16", "cases.csv")]


def test_columns_may_be_named_by_their_place(map_export: Read) -> None:
    mapped = map_export({"cases.csv": EXPORT}, MAPPING.replace('"Kg"', "4"))
    assert mapped.tables["stifles"]["weight_kg"].to_list() == [4.2]


def test_two_cells_may_give_one_variable(map_export: Read) -> None:
    export = "Case,Limb,Op,Kg,Sex,Neutered\nA1,L,2021-03-04,4.2,F,yes\n"
    joined = (
        'sex_neuter = { column = ["Sex", "Neutered"], codes = { "F | yes" = "female_neutered" } }\n'
    )
    mapped = map_export({"cases.csv": export}, MAPPING + joined)
    assert mapped.tables["animals"].select("sex_neuter", "raw:sex_neuter").rows() == [
        ("female_neutered", "F | yes")
    ]


@pytest.mark.parametrize(
    ("cell", "settings", "weight"),
    [
        ("9.4", 'unit = "lb"', 9.4 * 0.45359237),
        ("150", 'unit = "oz"', 150 * 0.45359237 / 16),
        ("2950", 'unit = "g"', 2.95),
        ("9.4 lb", 'unit = { lb = "lb", kg = "kg" }', 9.4 * 0.45359237),
        ("4.2kg", 'unit = { lb = "lb", kg = "kg" }', 4.2),
        ("4.2", 'unit = { lb = "lb", kg = "kg" }', None),
    ],
)
def test_weights_are_converted_by_the_declared_unit(
    map_export: Read, cell: str, settings: str, weight: float | None
) -> None:
    """One pound is 0.45359237 kg, one ounce a sixteenth of it (exact by definition)."""
    mapping = MAPPING.replace('"Kg"', f'{{ column = "Kg", {settings} }}')
    mapped = map_export({"cases.csv": EXPORT.replace("4.2", cell)}, mapping)
    assert mapped.tables["stifles"]["weight_kg"].to_list() == [
        None if weight is None else pytest.approx(weight)
    ]
    assert (mapped.findings.filter(rule="M04").height == 1) == (weight is None)


def test_a_side_cell_may_stand_for_both_sides(map_export: Read) -> None:
    both = MAPPING.replace('R = "right"', 'R = "right", "L+R" = "both"')
    mapped = map_export({"cases.csv": EXPORT.replace(",L,", ",L+R,")}, both)
    assert mapped.tables["stifles"].select("local_stifle", "block").rows() == [
        ("A1:left", "left"), ("A1:right", "right"),
    ]  # fmt: skip


def test_another_codebook_version_is_told(map_export: Read) -> None:
    mapped = map_export({"cases.csv": EXPORT}, 'codebook_version = "0"\n' + MAPPING)
    assert mapped.findings.select("rule", "file").rows() == [("M15", "mappings/clinic.toml")]
