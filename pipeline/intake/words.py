"""What intake says of a cell, and what depends on it."""

from collections.abc import Mapping

from schemas.codebook import Variable

# rule -> (what is wrong, what to do); {column}, {choices} and {unit} are filled in.
SAYINGS: Mapping[str, tuple[str, str]] = {
    "M01": ('The text in column "{column}" has no meaning yet.',
            "Write one of: {choices}; or tell the coordinator what it means."),
    "M02": ('The text in column "{column}" is not a number as this clinic writes them.',
            "Write {number}."),
    "M03": ('The text in column "{column}" is not a date as this clinic writes them.',
            "Write the date in the form used in the rest of the file."),
    "M04": ('The unit or time in column "{column}" is not understood.',
            "Write the value{unit}, with the unit if the column asks for one."),
    "M05": ('In the list in column "{column}" this is not understood, or contradicts another '
            'part: {note}',
            "Write each item in the words used in the rest of the file, or tell the coordinator "
            "what it means."),
    "M06": ("The animal, the side or the date is not stated, so the row cannot be placed.",
            "Give animal code, side and date of this row."),
    "M07": ("The surgery date of this stifle is not known, so the day cannot be counted.",
            "Give the date of the index surgery of this stifle."),
    "M08": ("The row has {fields} fields, the header {width}.",
            "Check the delimiters and quotes of this row."),
    "M10": ("{note}", "Confirm it, or give the exact value."),
    "M11": ("No part of the mapping takes this row, so it is in no table.",
            "Correct the row, or tell the coordinator what kind of row it is."),
    "M17": ('The cell in column "{column}" holds a spreadsheet error, or a formula without its '
            'result.', "Mend the formula, or write the value itself."),
    "M14": ('Column "{column}" contradicts another row of the same stifle or animal.',
            "Correct the row that is wrong."),
}  # fmt: skip

# Variables without which a row cannot be placed.
STOPS = frozenset({
    ("", "local_animal"), ("", "side"), ("", "local_stifle"), ("stifles", "surgery_date"),
    ("rechecks", "recheck_day"), ("complications", "detected_day"), ("revisions", "revision_day"),
})  # fmt: skip

MEASURED_IN = frozenset({"kg", "mm", "percent", "min"})

# What else is unknown while such a cell is not understood, or such a row is not placed.
_HOLDS: Mapping[tuple[str, str], str] = {
    ("rechecks", ""): "outcome:reluxation",
    ("complications", ""): "outcome:all",
    ("revisions", ""): "outcome:all",
    ("rechecks", "patella_grade"): "outcome:reluxation",
    ("rechecks", "recheck_mode"): "outcome:reluxation",
    ("complications", "complication_type"): "outcome:all",
    ("revisions", "revision_reason"): "outcome:all",
    ("stifles", "end_status"): "outcome:all",
    ("stifles", "end_of_followup_day"): "outcome:all",
}


def stops(table: str, variable: str) -> bool:
    """Tell whether a row without this variable cannot be placed."""
    return ("", variable) in STOPS or (table, variable) in STOPS


def held(table: str, variable: str) -> str:
    """Name what is unknown until the cell is answered."""
    if stops(table, variable):
        return _HOLDS.get((table, ""), "")
    return ",".join(filter(None, (variable, _HOLDS.get((table, variable), ""))))


def choices(variable: Variable) -> str:
    """List the labels a clinic may write, or say what is wanted."""
    if variable.kind == "bool":
        return "yes, no"
    return ", ".join(variable.codes.values()) or variable.label.lower()


def as_number(variable: Variable) -> str:
    """Say which number is wanted; "in grade" is no unit that a clinic measures in."""
    if variable.unit in MEASURED_IN:
        return f"the number{in_unit(variable)}"
    label = f"the {variable.label[0].lower()}{variable.label[1:]}"
    counted = {"day": " of days", "month": " of months"}.get(variable.unit, "")
    return label if label.startswith("the number") else f"{label} as a number{counted}"


def in_unit(variable: Variable) -> str:
    """Say in which unit the value is wanted."""
    return f" in {variable.unit}" if variable.unit and variable.kind in ("int", "float") else ""
