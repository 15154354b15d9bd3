"""JSON lines as text: one object a line, its keys the columns in the order they first appear."""

import io
import json
from typing import IO, Any

from pipeline.intake.grid import Grid
from pipeline.intake.limits import MOST_CELL_CHARACTERS, Limits
from shared.errors import InputFileError


def read_json_lines(handle: IO[bytes], *, where: str, limits: Limits) -> Grid:
    """Read every line; numbers stay as they are written, an object or list in a cell is its JSON.

    Returns
    -------
    Grid
        The first record holds the keys; record k + 1 is line k, blank lines are empty.

    Raises
    ------
    InputFileError
        If a line is no object, names a key twice, or the file is wider or longer than allowed.
    """
    columns: dict[str, int] = {}
    lines: list[dict[str, str]] = []
    for number, line in enumerate(_lines(handle, where), start=1):
        found = _object(line, f"{where}, line {number}") if line.strip() else {}
        for key in found:
            columns.setdefault(key, len(columns))
        lines.append(found)
        if len(columns) > limits.columns or len(lines) * len(columns) > limits.cells:
            raise _refused(f"{where}, line {number}", "the file has too many keys or lines")
    blank: list[str] = []
    records = [[line.get(key, "") for key in columns] if line else blank for line in lines]
    return Grid(records=[list(columns), *records])


def _lines(handle: IO[bytes], where: str) -> io.StringIO:
    try:
        return io.StringIO(handle.read().decode("utf-8-sig"), newline="\n")
    except UnicodeDecodeError:
        raise _refused(where, "JSON lines are UTF-8, and a byte here is not") from None


def _object(line: str, where: str) -> dict[str, str]:
    try:
        found = json.loads(
            line, object_pairs_hook=_once, parse_int=str, parse_float=str, parse_constant=str
        )
    except (ValueError, RecursionError):
        raise _refused(where, "the line is no JSON object with each key once") from None
    if not isinstance(found, dict):
        raise _refused(where, "the line is no JSON object")
    cells = {str(key).strip(): _text(value) for key, value in found.items()}
    if len(cells) < len(found) or not all(cells):
        raise _refused(where, "a key is blank or stands twice")
    for key, text in cells.items():
        if len(text) > MOST_CELL_CHARACTERS:
            raise _refused(where, "a value holds more than a million characters")
        if "\x00" in key + text or any("\ud800" <= letter < "\ue000" for letter in key + text):
            raise _refused(where, "a character stands in it that no text can hold")
    return cells


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError
    return found


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _refused(where: str, what: str) -> InputFileError:
    return InputFileError(where, what, do="Ask the clinic to export it again, one object a line.")
