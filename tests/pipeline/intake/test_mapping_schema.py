"""The mapping's JSON Schema and its reader know the same keys, variables, codes and units."""

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from pipeline.demo import write_demo_study
from pipeline.intake.mapping import MADE_TABLES
from pipeline.intake.mapping_file import read_mapping
from pipeline.intake.mapping_keys import CHOICES, read_keys
from pipeline.intake.mapping_schema import SCHEMA_LINE, mapping_schema, schema_text
from pipeline.manifest import study_inputs
from pipeline.new import create_study
from schemas.codebook import of_table, read_codebook
from shared.errors import MappingError
from tests.pipeline.intake.json_schema import faults

ROOT = Path(__file__).parents[3]
DEMO = sorted((ROOT / "shared" / "demo" / "mappings").glob("*.toml"))
DATA = sorted((Path(__file__).parent / "data").glob("*/mapping.toml"))
KEYS = read_keys()
SCHEMA = mapping_schema(read_codebook())

# Every section of a mapping once; "@section@" is where a key of it can be added.
WHOLE = """
@mapping@
[numbers]
@numbers@
[dates]
@dates@
[durations]
@durations@
[missing]
@missing@
[[file]]
path = "cases.csv"
@file@
set_aside = [{ @set_aside@ column = "Case", reason = "test record"@set_aside_is@ }]
[[not_identifying]]
column = "Case"
because = "case numbers of fifteen digits of our own"
@not_identifying_kinds@
@not_identifying@
[[table]]
make = "procedures"
from = "cases"
where = [{ @condition@ column = "Event"@condition_is@ }]
block = [{ @block@ name = "left" }]
pieces = { @pieces@ column = "Events" }
@table@
[table.columns]
local_animal = "Case"
tb_wire_diameter_mm = { @source@ column = "Wire", codes = { thin = { @code@ is = 0.6 } } }
[[table.list]]
column = "Technique"
words = [{ @word@ is = "TTT" }]
otherwise = [{ @otherwise@ sets = { ttt_done = false } }]
@list@
"""
INLINE = ("set_aside", "condition", "block", "pieces", "source", "code", "word", "otherwise")
TO_CONFIRM = '[[to_confirm]]\nwhat = "Unit"\n@to_confirm@\n'


def written(section: str, key: str) -> str:
    """Write the whole mapping with one more key in one section."""
    text = WHOLE + (TO_CONFIRM if section == "to_confirm" else "")
    marked = text.replace(f"@{section}@", key + ("," if section in INLINE else ""))
    assert marked != text or not key
    for other in ("set_aside", "condition"):
        says = section == other and key.split(" ")[0] in ("is", "is_not", "matches", "filled")
        marked = marked.replace(f"@{other}_is@", "" if says else ', is = "OP"')
    kinds = "" if key.startswith("kinds =") else 'kinds = ["transponder"]'
    marked = marked.replace("@not_identifying_kinds@", kinds)
    return re.sub("@[a-z_]+@", "", marked)


def read(folder: Path, text: str) -> Any:
    (folder / "clinic.toml").write_text(text, "utf-8")
    return read_mapping(folder / "clinic.toml", read_codebook())


def refused(folder: Path, text: str) -> MappingError:
    with pytest.raises(MappingError) as error:
        read(folder, text)
    return error.value


def known_here(error: MappingError) -> set[str]:
    return set(error.do.removeprefix("Known here: ").removesuffix(".").split(", "))


def broken(text: str) -> list[str]:
    return faults(tomllib.loads(text), SCHEMA, SCHEMA)


def test_the_whole_mapping_is_right_for_reader_and_schema(tmp_path: Path) -> None:
    assert read(tmp_path, written("", "")).tables
    assert broken(written("", "")) == []


@pytest.mark.parametrize("section", list(KEYS))
def test_reader_and_schema_know_the_same_keys(tmp_path: Path, section: str) -> None:
    text = written(section, "qqqq = 1")
    error = refused(tmp_path, text)
    assert '"qqqq" is unknown' in error.what
    assert known_here(error) == {key.name for key in KEYS[section]}
    assert any("qqqq: unknown key" in fault for fault in broken(text))


@pytest.mark.parametrize(
    ("section", "key"),
    [(section, key.name) for section, keys in KEYS.items() for key in keys if len(key.name) > 4],
)
def test_a_misspelt_key_is_named_with_the_right_one(tmp_path: Path, section: str, key: str) -> None:
    text = written(section, f"{key}q = 1")
    assert f'Did you mean "{key}"' in refused(tmp_path, text).do
    assert any(f"{key}q: unknown key" in fault for fault in broken(text))


@pytest.mark.parametrize(
    ("section", "key", "choices"),
    [
        (section, key.name, key.refers_to)
        for section, keys in KEYS.items()
        for key in keys
        if key.value in ("choice", "choices") and section != "table"
    ],
)
def test_reader_and_schema_know_the_same_choices(
    tmp_path: Path, section: str, key: str, choices: str
) -> None:
    error = refused(tmp_path, written(section, f'{key} = "qqqq"'))
    assert known_here(error) == set(CHOICES[choices])
    for choice in CHOICES[choices]:
        assert broken(written(section, f'{key} = "{choice}"')) == []


def test_reader_and_schema_know_the_same_tables_and_variables(tmp_path: Path) -> None:
    error = refused(tmp_path, written("", "").replace('"procedures"', '"qqqq"'))
    assert known_here(error) == set(CHOICES["made_tables"])
    found: set[str] = set()
    for table in MADE_TABLES:
        text = f'[[file]]\npath = "a"\n[[table]]\nmake = "{table}"\nfrom = "a"\n[table.columns]\n'
        found |= known_here(refused(tmp_path, text + 'qqqq = "X"\n'))
    assert found == set(SCHEMA["$defs"]["columns"]["properties"])


def test_reader_and_schema_refuse_the_same_codes_and_units(tmp_path: Path) -> None:
    table = '[[file]]\npath = "a"\n[[table]]\nmake = "procedures"\nfrom = "a"\n[table.columns]\n'
    wrong = ('{ column = "X", unit = "qqqq" }', '{ value = "qqqq" }',
             '{ column = "X", codes = { x = "qqqq" } }')  # fmt: skip
    for variable in of_table(read_codebook(), "procedures"):
        for settings in wrong[: 1 if variable.kind == "string" else 3]:
            text = f"{table}{variable.name} = {settings}\n"
            assert '"qqqq"' in refused(tmp_path, text).what
            assert broken(text), variable.name


@pytest.mark.parametrize("path", [*DEMO, *DATA], ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_filled_mappings_fit_the_schema(path: Path) -> None:
    assert faults(tomllib.loads(path.read_text("utf-8")), SCHEMA, SCHEMA) == []


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.stem)
def test_each_mapping_of_the_demo_names_the_schema_in_its_first_line(path: Path) -> None:
    assert path.read_text("utf-8").splitlines()[0] == "#:schema ./mapping.schema.json"


def test_a_new_study_and_the_demo_have_the_schema_beside_their_mappings(tmp_path: Path) -> None:
    create_study(tmp_path / "new")
    write_demo_study(tmp_path / "demo")
    for study in ("new", "demo"):
        beside = tmp_path / study / "mappings" / "mapping.schema.json"
        assert json.loads(beside.read_text("utf-8")) == SCHEMA
        assert beside.relative_to(tmp_path / study) not in study_inputs(tmp_path / study)
    example = (tmp_path / "new" / "mappings" / "north.toml.example").read_text("utf-8")
    assert example.startswith("#:schema ./mapping.schema.json\n")
    assert broken(example) == []


def test_variables_that_a_study_adds_are_in_its_schema(tmp_path: Path) -> None:
    create_study(tmp_path / "new")
    declared = (ROOT / "shared" / "codebook" / "stifles.csv").read_text("utf-8").splitlines()[0]
    (tmp_path / "new" / "codebook").mkdir()
    (tmp_path / "new" / "codebook" / "stifles.csv").write_text(
        f"{declared}\nnotch_mm,Depth of the notch,float,mm,,0,20,1,9,no,,no,,baseline,Depth,none\n",
        "utf-8",
    )
    schema = mapping_schema(read_codebook(tmp_path / "new"))
    assert "notch_mm" in schema["$defs"]["columns"]["properties"]


def test_the_example_of_the_intake_fits_the_schema() -> None:
    readme = (ROOT / "pipeline" / "intake" / "README.md").read_text("utf-8")
    assert broken(readme.split("```toml\n")[1].split("```")[0]) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('species = { column = "Tierart"', 'spezies = { column = "Tierart"'),
        ('Hund = "dog"', 'Hund = "dgo"'),
        ('unit = "years"', 'unit = "jears"'),
        ('counted_from = "first"', 'counted_from = "frist"'),
        ('clinic_type = "referral"', 'clinic_type = "referal"'),
        ("accrual_start = 2015-03-02", "accrual_strat = 2015-03-02"),
        ('sulcoplasty_type = "wedge_recession"', 'sulcoplasty_type = "wedge"'),
        ("ttt_done = true }, sets", "ttt_done = 2 }, sets"),
        ('path = "MPL_Auszug.csv"', ""),
        ('formats = ["DD.MM.YYYY"]', 'formats = ["TT.MM.JJJJ"]'),
        ('ttt_fixation = "not_applicable"', 'ttt_fixation = "nicht"'),
    ],
)  # fmt: skip
def test_a_wrong_word_is_refused_by_reader_and_schema(tmp_path: Path, old: str, new: str) -> None:
    valley = next(path for path in DEMO if path.stem == "valley").read_text("utf-8")
    assert old in valley
    text = valley.replace(old, new)
    refused(tmp_path, text)
    assert broken(text)


def test_the_schema_is_written_the_same_each_time_and_says_what_each_key_is_for() -> None:
    text = schema_text(read_codebook())
    assert text == schema_text(read_codebook())
    schema = json.loads(text)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert all(schema["properties"][key.name]["description"] for key in KEYS["mapping"])
    weight = schema["$defs"]["columns"]["properties"]["weight_kg"]
    assert weight["description"].startswith("Body weight at surgery (kg). ")
    assert SCHEMA_LINE == "#:schema ./mapping.schema.json"  # read by editors in line one
