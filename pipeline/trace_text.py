"""A trace in words, or as JSON."""

import json
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date

from pipeline.trace import Cell, Trace

SHOWN = 60  # cells in words; --json gives all


def trace_text(found: Trace) -> str:
    """Lay a trace out for a terminal: the value, then cell by cell what it rests on."""
    lines = [f"{found.stifle}, {found.variable} = {_plain(found.value)}  ({found.label})"]
    lines += [f"  {found.definition}"] if found.definition else []
    lines += [f"  held: {rule}" for rule in found.held]
    filled = [cell for cell in found.cells if not _is_empty(cell)]
    lines.append(f"  {len(found.cells)} cells behind it, {len(filled)} of them filled:")
    for cell in filled[:SHOWN]:
        lines += _of_cell(cell)
    if len(filled) > SHOWN:
        lines.append(f"  and {len(filled) - SHOWN} more; --json shows them")
    blank = sorted({f"{cell.table}.{cell.variable}" for cell in found.cells if _is_empty(cell)})
    lines += [f"  blank or in no column: {', '.join(blank)}"] if blank else []
    return "\n".join("".join(_printable(line)) for line in lines)


def trace_json(found: Trace) -> str:
    """Give the same as one JSON object."""
    return json.dumps(asdict(found), ensure_ascii=False, default=str)


def _of_cell(cell: Cell) -> Iterator[str]:
    sheet = f" [{cell.sheet}]" if cell.sheet else ""
    row = f", row {cell.row}" if cell.row is not None else ""
    column = f', column "{cell.column}"' if cell.column else ""
    yield f"  {cell.table}.{cell.variable} = {_plain(cell.value)}"
    text = f': "{cell.raw}"' if cell.raw is not None else ""
    folder = "" if cell.table == "clinics" else f"{cell.clinic}/"
    yield f"    {folder}{cell.file}{sheet}{row}{column}{text}"
    yield f"    {cell.step.place}: {cell.step.reads}"
    yield from (f"    mark: {mark}" for mark in cell.marks)
    if cell.missing:
        yield f"    missing: {cell.missing.replace('_', ' ')}"
    yield from (f"    answer: {answer}" for answer in cell.answers)
    yield from (f"    rule {rule}" for rule in cell.rules)


def _is_empty(cell: Cell) -> bool:
    said = (cell.raw, *cell.rules, *cell.answers, *cell.marks)
    return cell.value is None and not any(said)


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    return "unknown" if value is None else str(value)


def _printable(line: str) -> Iterator[str]:
    """Keep control characters of a cell from reaching the terminal."""
    return (letter if letter.isprintable() else "\ufffd" for letter in line)
