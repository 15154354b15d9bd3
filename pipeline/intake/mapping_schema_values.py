"""Parts of the mapping's JSON Schema that come from the codebook, and plain kinds of values."""

from collections.abc import Iterable, Mapping
from typing import Any

from pipeline.intake.grammar import UNITS_TO
from pipeline.intake.mapping import MADE_TABLES, MISSING_REASONS
from pipeline.intake.mapping_source import HALF_STEP
from pipeline.intake.numbers import LATEST_EVENT
from schemas.codebook import Variable, of_table

Schema = dict[str, Any]
TEXT: Schema = {"type": "string"}
SCALAR: Schema = {"type": ["string", "number", "boolean"]}
WHOLE: Schema = {"type": "integer"}


def ref(name: str) -> Schema:
    """Point to a part of the schema."""
    return {"$ref": f"#/$defs/{name.replace(' ', '%20')}"}


def one_or_several(schema: Schema) -> Schema:
    """Let one value stand for a list of one."""
    return {"anyOf": [schema, {"type": "array", "items": schema}]}


def by_name(codebook: Iterable[Variable]) -> dict[str, tuple[Variable, ...]]:
    """Gather the declarations of each name; a key stands in several tables."""
    named: dict[str, tuple[Variable, ...]] = {}
    for item in codebook:
        named[item.name] = (*named.get(item.name, ()), item)
    return named


def described(variable: Variable) -> str:
    """Say what a variable is: label, unit, definition."""
    unit = f" ({variable.unit})" if variable.unit else ""
    return f"{variable.label}{unit}. {variable.definition}".strip()


def code(variables: Iterable[Variable]) -> Schema:
    """Give what a value of this variable may be in a mapping."""
    made = [_code(item) for item in variables]
    distinct = [item for place, item in enumerate(made) if item not in made[:place]]
    return distinct[0] if len(distinct) == 1 else {"anyOf": distinct}


def _code(variable: Variable) -> Schema:
    if variable.kind == "bool":
        return {"enum": [True, False, "true", "false"]}
    if variable.codes:
        texts = [*variable.codes, *(("both",) if variable.name == "side" else ())]
        return {"enum": [*texts, *(int(text) for text in texts if text.isdecimal())]}
    if variable.kind in ("int", "float"):
        whole = variable.kind == "int"
        text = r"^[+-]?[0-9]+$" if whole else r"^[+-]?[0-9]*\.?[0-9]+([eE][+-]?[0-9]+)?$"
        return {"anyOf": [WHOLE if whole else {"type": "number"}, TEXT | {"pattern": text}]}
    return TEXT | {"format": "date"} if variable.kind == "date" else SCALAR


def alike(variables: Iterable[Variable]) -> str:
    """Name what a source must know of a variable; those of one name share a part of the schema."""
    first, *others = variables
    if first.codes or others:
        return f"of {first.name}"
    return f"{first.kind} in {first.unit}" if first.unit else first.kind


def codes(one: Schema, noted: Schema) -> Schema:
    """Give a column's code list: its own, or the name of a list under [codes]."""
    own = {"type": "object", "additionalProperties": {"anyOf": [one, noted]}}
    return {"anyOf": [TEXT, own]}


def unit(variables: Iterable[Variable]) -> Schema:
    """Give the units that can become the variable's own, as one or by the word in the cell."""
    names: dict[str, None] = {}
    for item in variables:
        names |= dict.fromkeys(UNITS_TO.get(item.unit, ()))
        names |= dict.fromkeys(("gauge",) if item.unit == "mm" else ())
    one: Schema = {"enum": ["", *names]}
    return {"anyOf": [one, {"type": "object", "additionalProperties": one}]}


def shared(named: Mapping[str, tuple[Variable, ...]]) -> Schema:
    """Give the kinds of values that keys of several sections hold."""
    own = {name: ref(f"code of {name}") for name in named}
    template = TEXT | {"pattern": r"\$[0-9]"}
    form = TEXT | {"pattern": "^[^a-zA-Z]*(DD|MM|MMM|YY|YYYY|hh|mm|ss|T|[^a-zA-Z])+$"}
    month = WHOLE | {"minimum": 1, "maximum": 12}
    reason: Schema = {"enum": list(MISSING_REASONS)}
    return {
        "text": TEXT, "whole": WHOLE, "flag": {"type": "boolean"},
        "texts": one_or_several(SCALAR),
        "pattern": TEXT | {"format": "regex"}, "formats": one_or_several(form),
        "part": {"anyOf": [WHOLE | {"minimum": 1}, TEXT]},
        "nominal": {"anyOf": [WHOLE | {"minimum": 0}, {"const": HALF_STEP}]},
        "code": SCALAR, "codes": {}, "unit": {},
        "variable": {"enum": list(named)},
        "map of numbers": _map({"type": "number"}), "map of months": _map(month),
        "map of scalars": _map(SCALAR),
        "code lists": _map({"type": "object"}),
        "settings": _table(own),
        "templates": _table({name: {"anyOf": [item, template]} for name, item in own.items()}),
        "wanted": _table({name: one_or_several(item) for name, item in own.items()}),
        "reasons": _table(dict.fromkeys(named, reason)),
    }  # fmt: skip


def facts(variables: Iterable[Variable]) -> Schema:
    """Give the facts about a clinic."""
    return _table({item.name: _code(item) | {"description": described(item)} for item in variables})


def blanks(codebook: Iterable[Variable]) -> Schema:
    """Give what may stand where an export is blank."""
    declared = tuple(codebook)
    tables: Schema = {}
    for table in MADE_TABLES:
        latest = {"const": LATEST_EVENT}
        tables[table] = _table({
            item.name: {"anyOf": [_code(item), latest]} if item.unit == "day" else _code(item)
            for item in of_table(declared, table)
        })  # fmt: skip
    return _table(tables)


def _map(schema: Schema) -> Schema:
    return {"type": "object", "additionalProperties": schema}


def _table(properties: Mapping[str, Schema]) -> Schema:
    return {"type": "object", "properties": dict(properties), "additionalProperties": False}
