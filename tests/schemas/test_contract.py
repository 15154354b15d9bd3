"""The Data Package of the canonical tables, against the text of the standard.

The standard: Data Package version 2.0, datapackage.org/standard. The package of the project was
also validated with the JSON profiles published there; their one complaint is `fieldsMatch`, which
the profile of 2.0 takes for an array against the text (mended in 2.1).
"""

import json
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from schemas.codebook import CANONICAL_TABLES, KEYS, Variable, of_table, read_codebook
from schemas.contract import TABLES, data_package, package_name
from schemas.table_schema import table_schema_json
from schemas.tables import ONE_ROW_A_KEY

BOOK = read_codebook()
PACKAGE = data_package(BOOK, title="A study")
SCHEMAS = {item["name"]: item["schema"] for item in PACKAGE["resources"]}
FIELDS = {
    (table, field["name"]): field for table, schema in SCHEMAS.items() for field in schema["fields"]
}
DECLARED = {(item.table, item.name): item for item in BOOK if item.table in CANONICAL_TABLES}


def test_a_package_names_its_profile_and_its_tables() -> None:
    """Standard, "Data Package": `resources` is required, names are url-usable."""
    assert PACKAGE["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert [item["name"] for item in PACKAGE["resources"]] == list(CANONICAL_TABLES)
    for item in PACKAGE["resources"]:
        assert re.fullmatch(r"[-a-z0-9._/]+", item["name"])
        assert item["type"] == "table"
        assert not Path(item["path"]).is_absolute()
    assert json.loads(json.dumps(PACKAGE)) == PACKAGE


def test_every_table_says_what_its_rows_are() -> None:
    assert tuple(TABLES) == CANONICAL_TABLES
    assert all(item["title"] and item["description"] for item in PACKAGE["resources"])


def test_every_variable_is_a_field_in_declared_order() -> None:
    for table, schema in SCHEMAS.items():
        assert [field["name"] for field in schema["fields"]] == [
            item.name for item in of_table(BOOK, table)
        ]
    assert set(FIELDS) == set(DECLARED)
    assert all(field["title"] and field["description"] for field in FIELDS.values())


def test_types_are_those_of_the_standard() -> None:
    """Standard, "Table Schema", field types."""
    kinds = {"float": "number", "int": "integer", "bool": "boolean", "date": "date",
             "string": "string", "category": "string"}  # fmt: skip
    assert {key: field["type"] for key, field in FIELDS.items()} == {
        key: kinds[item.kind] for key, item in DECLARED.items()
    }


def test_codes_are_categories_with_labels_of_the_fields_own_type() -> None:
    """Standard: `categories` only on string and integer fields, values of the field's type."""
    for key, item in DECLARED.items():
        field = FIELDS[key]
        if item.kind == "bool" or not item.codes:
            assert "categories" not in field
            continue
        kind = int if field["type"] == "integer" else str
        assert [entry["label"] for entry in field["categories"]] == list(item.codes.values())
        assert all(isinstance(entry["value"], kind) for entry in field["categories"])
    side = FIELDS["stifles", "side"]
    assert side["constraints"]["enum"] == ["left", "right"]


def test_limits_units_and_usual_ranges_are_those_of_the_codebook() -> None:
    weight = FIELDS["stifles", "weight_kg"]
    assert (weight["constraints"]["minimum"], weight["constraints"]["maximum"]) == (0.8, 100.0)
    assert weight["unit"] == "kg"
    for key, item in DECLARED.items():
        constraints = FIELDS[key].get("constraints", {})
        assert ("minimum" in constraints) == bool(item.limits)
        assert FIELDS[key].get("usualRange", []) == list(item.usual or ())
        assert FIELDS[key].get("unit", "") == item.unit
        assert constraints.get("required", False) == (item.required == "yes")
        assert FIELDS[key].get("requiredWhen", "") == item.required_when


def test_dates_have_limits_in_the_form_of_a_date() -> None:
    low = FIELDS["stifles", "surgery_date"]["constraints"]["minimum"]
    assert date.fromisoformat(low)


def test_keys_are_arrays_of_fields_that_are_there() -> None:
    """Standard: `primaryKey` is an array of field names, `uniqueKeys` an array of such arrays."""
    for table, schema in SCHEMAS.items():
        names = {field["name"] for field in schema["fields"]}
        keys = [schema["primaryKey"]] if table in ONE_ROW_A_KEY else schema["uniqueKeys"]
        assert keys == [list(KEYS[table])]
        assert names >= {name for key in keys for name in key}


def test_foreign_keys_lead_to_the_key_of_another_table() -> None:
    """Standard: both sides have equally many fields, the reference names its resource."""
    found = {
        (table, key["reference"]["resource"]): key
        for table, schema in SCHEMAS.items()
        for key in schema.get("foreignKeys", [])
    }
    for (_, target), key in found.items():
        assert len(key["fields"]) == len(key["reference"]["fields"])
        assert key["reference"]["fields"] == list(KEYS[target])
    assert ("rechecks", "stifles") in found
    assert ("stifles", "animals") in found
    assert all((table, "clinics") in found for table in CANONICAL_TABLES[1:])


def test_reasons_for_missing_values_have_labels() -> None:
    """Standard, version 2: `missingValues` as objects with `value` and `label`."""
    for schema in SCHEMAS.values():
        values = {entry["value"]: entry["label"] for entry in schema["missingValues"]}
        assert {"", "not_recorded", "not_applicable", "not_examined", "not_yet_due"} == set(values)
        assert all(values.values())


def test_a_link_token_has_a_pattern() -> None:
    pattern = FIELDS["animals", "link_token"]["constraints"]["pattern"]
    assert re.fullmatch(pattern, "t" + "bcdfghjklmnpqrst" * 4)
    assert not re.fullmatch(pattern, "900164000123456")


def test_a_variable_of_the_study_is_in_it() -> None:
    own = Variable(
        table="stifles", name='notch"; DROP TABLE x', label="<b>Notch</b>", kind="float",
        unit="mm", codes={}, limits=("0", "20"), usual=None, required="no", required_when="",
        core="no", refers_to="", role="baseline", definition="Depth", source="common practice",
    )  # fmt: skip
    schema: dict[str, Any] = table_schema_json((*BOOK, own), "stifles")
    assert schema["fields"][-1]["name"] == own.name
    assert data_package((*BOOK, own), title="A study")["version"] != PACKAGE["version"]


def test_a_table_nobody_declared_has_no_schema() -> None:
    with pytest.raises(KeyError):
        table_schema_json(BOOK, "horses")


@pytest.mark.parametrize(
    ("title", "name"), [("A: study, 2!", "a-study-2"), ("Größe", "gr-e"), ("…", "study")]
)
def test_a_title_becomes_a_name(title: str, name: str) -> None:
    assert package_name(title) == name
