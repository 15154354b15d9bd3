"""The JSON Schema of a mapping file, so that editors complete and check it while it is written."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from pipeline.intake import mapping_schema_values as values
from pipeline.intake.mapping import MADE_TABLES
from pipeline.intake.mapping_keys import CHOICES, Key, read_keys
from schemas.codebook import Variable, of_table

SCHEMA_FILE = "mapping.schema.json"
SCHEMA_LINE = f"#:schema ./{SCHEMA_FILE}"  # first line of a mapping; editors follow it
DIALECT = "https://json-schema.org/draft/2020-12/schema"
# Sections whose keys depend on the variable: they are made for each.
_BY_VARIABLE = ("source", "code")

Schema = dict[str, Any]


def schema_text(codebook: Iterable[Variable]) -> str:
    """Write the schema as it stands beside the mappings of a study."""
    return json.dumps(mapping_schema(codebook), indent=1, ensure_ascii=False) + "\n"


def mapping_schema(codebook: Iterable[Variable]) -> Schema:
    """Make the JSON Schema (2020-12) of mappings/<clinic>.toml.

    Parameters
    ----------
    codebook
        Its variables, codes and units are those that a mapping may name; with a study's own
        variables where it has some.
    """
    declared = tuple(codebook)
    keys = read_keys()
    named = values.by_name(item for item in declared if item.table in MADE_TABLES)
    parts = {name: _section(items) for name, items in keys.items()
             if name not in (*_BY_VARIABLE, "mapping")}  # fmt: skip
    parts |= {f"source {key.name}": _described(key) for key in keys["source"]}
    parts |= {f"code of {name}": values.code(variables) for name, variables in named.items()}
    sources = {name: values.alike(variables) for name, variables in named.items()}
    for kind in dict.fromkeys(sources.values()):
        name = next(name for name in named if sources[name] == kind)
        parts[f"table {kind}"] = _source(name, named[name], keys)
        parts[f"source {kind}"] = _one_or_more(values.ref(f"table {kind}"))
    shared = values.shared(named) | {
        "facts": values.facts(of_table(declared, "clinics")),
        "blanks": values.blanks(declared),
        "columns": _columns(named, sources),
    }
    return {
        "$schema": DIALECT,
        "title": "How one clinic's export becomes canonical rows",
        **_section(keys["mapping"]),
        "$defs": shared | parts,
    }


def _section(keys: Iterable[Key]) -> Schema:
    listed = tuple(keys)
    made: Schema = {
        "type": "object",
        "properties": {key.name: _described(key) for key in listed},
        "additionalProperties": False,
    }
    required = [key.name for key in listed if key.required]
    return made | ({"required": required} if required else {})


def _described(key: Key) -> Schema:
    return _value(key) | {"description": key.says}


def _value(key: Key) -> Schema:
    """Give the schema of what a key holds."""
    if key.value == "choice":
        return {"enum": list(CHOICES[key.refers_to])}
    if key.value == "choices":
        return values.one_or_several({"enum": list(CHOICES[key.refers_to])})
    if key.value == "table":
        return values.ref(key.refers_to)
    if key.value == "tables":
        return {"type": "array", "items": values.ref(key.refers_to)}
    return values.ref(key.value)


def _source(
    name: str, variables: tuple[Variable, ...], keys: Mapping[str, tuple[Key, ...]]
) -> Schema:
    """Make the table form of a variable, and of those alike: its codes and units in it."""
    code = values.ref(f"code of {name}")
    noted = _section(keys["code"])
    noted["properties"]["is"] |= code
    own = {"value": code, "unit": values.unit(variables), "codes": values.codes(code, noted)}
    properties = {
        key.name: own[key.name] | {"description": key.says}
        if key.name in own
        else values.ref(f"source {key.name}")
        for key in keys["source"]
    }
    return {"type": "object", "properties": properties, "additionalProperties": False}


def _one_or_more(table: Schema) -> Schema:
    """Let a header or a place stand for a table, and a list for the first of it that is filled."""
    one = [values.TEXT, values.WHOLE, table]
    several: Schema = {"type": "array", "items": {"anyOf": one}, "minItems": 1}
    return {"anyOf": [*one, several]}


def _columns(named: Mapping[str, tuple[Variable, ...]], sources: Mapping[str, str]) -> Schema:
    """Name the variables that a table can have, each with what is known of its column."""
    properties = {
        name: values.ref(f"source {sources[name]}")
        | {"description": values.described(variables[0])}
        for name, variables in named.items()
    }
    return {"type": "object", "properties": properties, "additionalProperties": False}
