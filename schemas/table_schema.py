"""Table Schemas made of the codebook (Data Package standard, version 2, datapackage.org)."""

from collections.abc import Iterable, Mapping
from typing import Any

from schemas.codebook import KEYS, Variable, of_table
from schemas.tables import ONE_ROW_A_KEY

Json = dict[str, Any]
TYPES: Mapping[str, str] = {
    "string": "string", "category": "string", "int": "integer", "float": "number",
    "bool": "boolean", "date": "date",
}  # fmt: skip
# Forms that codes and limits cannot say.
PATTERNS: Mapping[tuple[str, str], str] = {
    ("animals", "link_token"): "t[bcdfghjklmnpqrst]{64}",
    ("clinics", "country_code"): "[A-Z]{2}",
}
# Words that may stand in any cell in place of a value, and what each says.
MISSING: Mapping[str, str] = {
    "": "No reason given",
    "not_recorded": "Not recorded",
    "not_applicable": "Does not apply",
    "not_examined": "Not examined",
    "not_yet_due": "Not due yet",
}


def table_schema_json(codebook: Iterable[Variable], table: str) -> Json:
    """Describe one canonical table as a Table Schema.

    A table may have fewer columns than declared, none that is not. Beside the standard's own
    properties a field carries `unit`, `usualRange`, `requiredWhen`, `core` and `source`.

    Raises
    ------
    KeyError
        If the codebook declares nothing for `table`.
    """
    variables = of_table(codebook, table)
    if not variables:
        raise KeyError(table)
    key = "primaryKey" if table in ONE_ROW_A_KEY else "uniqueKeys"
    names = list(KEYS[table])
    schema: Json = {
        "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
        "fieldsMatch": "superset",
        "fields": [_field(item) for item in variables],
        "missingValues": [{"value": value, "label": label} for value, label in MISSING.items()],
        key: names if key == "primaryKey" else [names],
    }
    keys = [pair for item in variables for pair in _foreign_key(item)]
    return schema | ({"foreignKeys": keys} if keys else {})


def _field(item: Variable) -> Json:
    kind = TYPES[item.kind]
    field: Json = {
        "name": item.name, "type": kind, "title": item.label, "description": item.definition,
    }  # fmt: skip
    if item.kind == "bool":
        field |= {"trueValues": ["true"], "falseValues": ["false"]}
    elif item.codes:
        field["categories"] = [
            {"value": int(code) if kind == "integer" else code, "label": label}
            for code, label in item.codes.items()
        ]
    constraints = _constraints(item)
    beside = {
        "constraints": constraints, "unit": item.unit, "requiredWhen": item.required_when,
        "usualRange": list(item.usual or ()), "core": item.core != "no", "source": item.source,
    }  # fmt: skip
    return field | {name: value for name, value in beside.items() if value not in ("", [], {})}


def _constraints(item: Variable) -> Json:
    found: Json = {"required": True} if item.required == "yes" else {}
    if item.codes and item.kind == "category":
        found["enum"] = list(item.codes)
    if item.limits:
        found["minimum"], found["maximum"] = (_limit(item, text) for text in item.limits)
    pattern = PATTERNS.get((item.table, item.name))
    return found | ({"pattern": pattern} if pattern else {})


def _limit(item: Variable, text: str) -> int | float | str:
    if item.kind == "date":
        return text
    return int(text) if item.kind == "int" else float(text)


def _foreign_key(item: Variable) -> list[Json]:
    """Point to the row meant; where the codebook allows something else too, nothing is said."""
    table, _, name = item.refers_to.partition(".")
    if table not in KEYS or name not in KEYS[table]:
        return []
    fields = list(KEYS[table])
    return [{"fields": fields, "reference": {"resource": table, "fields": fields}}]
