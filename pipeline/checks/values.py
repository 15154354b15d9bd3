"""A value that a person wrote into corrections.csv, by the codebook."""

from datetime import date

from pipeline.intake.screen_cells import shown
from schemas.codebook import Variable
from shared.errors import InputFileError

YES_NO = {"true": True, "yes": True, "false": False, "no": False}


def read_value(text: str, variable: Variable, where: str) -> str | float | int | bool | date:
    """Read a corrected value: a code or its label, a number with point or comma, an ISO date.

    A day after surgery or an age in months may be given as the date it is counted from.

    Raises
    ------
    InputFileError
        If the text is no value of this variable.
    """
    by_kind = {"category": _code, "bool": _yes_no, "date": _date, "int": _whole, "float": _number}
    try:
        if not text:
            raise ValueError(text)
        if variable.unit in {"day", "month"} and text.count("-") == 2:
            return date.fromisoformat(text)
        return by_kind[variable.kind](text, variable) if variable.kind in by_kind else text
    except (ValueError, KeyError):
        wanted = {
            "date": "a date like 2021-03-14", "int": "a whole number", "float": "a number",
            "bool": "yes or no", "category": ", ".join(variable.codes), "string": "a text",
        }[variable.kind]  # fmt: skip
        raise InputFileError(
            where,
            f'"{shown(text)}" is no value of {variable.table}.{variable.name}',
            do=f"Give {wanted}.",
        ) from None


def _code(text: str, variable: Variable) -> str:
    codes = {label.casefold(): code for code, label in variable.codes.items()}
    return text if text in variable.codes else codes[text.casefold()]


def _yes_no(text: str, _variable: Variable) -> bool:
    return YES_NO[text.casefold()]


def _date(text: str, _variable: Variable) -> date:
    return date.fromisoformat(text)


def _number(text: str, variable: Variable) -> float:
    if "," in text and "." not in text and text.count(",") == 1:
        text = text.replace(",", ".")
    return float(_code(text, variable) if variable.codes and not _is_number(text) else text)


def _whole(text: str, variable: Variable) -> int:
    number = _number(text, variable)
    if number != int(number):
        raise ValueError(text)
    return int(number)


def _is_number(text: str) -> bool:
    return text.lstrip("-").replace(".", "", 1).isdigit()
