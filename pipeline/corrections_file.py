"""corrections.csv: what the clinics answered, one line a cell; read whole, only added to."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

from pipeline.checks.values import read_value
from schemas.codebook import Variable
from shared.errors import InputFileError, nearest
from shared.files import edited_rows, write_bytes

CORRECTED, CONFIRMED, UNKNOWN, DELETED = "corrected", "confirmed", "unknown", "deleted"
DECISIONS = (CORRECTED, CONFIRMED, UNKNOWN, DELETED)
RUNS_AS_FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One line of corrections.csv.

    Attributes
    ----------
    table, variable
        The cell that was asked about; both blank where no row of a table was.
    day
        The day of the row, or "event 2" and the like.
    new
        The right value of a corrected cell. Of a confirmed one the rule that asked; of a deleted
        row the fingerprint of its texts, where its address alone would name several rows.
    """

    query_id: str
    clinic: str
    table: str
    animal: str
    side: str
    day: str
    variable: str
    old_raw: str
    new: str
    decision: str
    reason: str
    who: str
    when: str

    @property
    def cell(self) -> tuple[str, ...]:
        """What is answered, whatever the answer."""
        return (self.clinic, self.table, self.animal, self.side, self.day, self.variable)

    @property
    def said(self) -> tuple[str, ...]:
        """The answer itself: two lines that agree in this say the same twice."""
        return (self.query_id, *self.cell, self.old_raw, self.new, self.decision)


COLUMNS = tuple(item.name for item in fields(Correction))


def read_corrections(path: Path, codebook: Iterable[Variable]) -> tuple[Correction, ...]:
    """Read corrections.csv; a study without one has none.

    Raises
    ------
    InputFileError
        If a column, table, variable or decision is not known, or a new value is not readable.
    """
    if not path.exists():
        return ()
    reader = edited_rows(path)
    _check_columns(reader.fieldnames or (), path)
    variables = {(item.table, item.name): item for item in codebook}
    read: list[Correction] = []
    for number, row in enumerate(reader, start=2):
        where = f"{path}, row {number}"
        _check_cells(row, where)
        correction = Correction(**{name: _plain(row[name]) for name in COLUMNS})
        _check(correction, variables, where)
        read.append(correction)
    return tuple(read)


def append_corrections(path: Path, lines: Sequence[Correction]) -> None:
    """Add lines at the end; every byte that stood there before stays as it was."""
    before = path.read_bytes() if path.exists() else b""
    names: Sequence[str] = COLUMNS
    if before:
        text = before.decode("utf-8-sig")
        names = next(csv.reader(io.StringIO(text, newline="")), COLUMNS)
    made = io.StringIO(newline="")
    writer = csv.writer(made, lineterminator="\r\n" if b"\r\n" in before else "\n")
    if not before:
        writer.writerow(COLUMNS)
    elif not before.endswith(b"\n"):
        made.write(writer.dialect.lineterminator)
    writer.writerows([_disarmed(getattr(line, name)) for name in names] for line in lines)
    if lines:
        write_bytes(path, before + made.getvalue().encode("utf-8"))


def _plain(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from running a cell as a formula."""
    text = cell.strip()
    return text[1:] if text[:1] == "'" and text[1:2] in RUNS_AS_FORMULA else text


def _disarmed(cell: str) -> str:
    return f"'{cell}" if cell.startswith(RUNS_AS_FORMULA) else cell


def _check_columns(header: Sequence[str], path: Path) -> None:
    unknown = [name for name in header if name not in COLUMNS]
    absent = [name for name in COLUMNS if name not in header]
    if unknown or absent:
        what = f'"{unknown[0]}" is not known' if unknown else f'"{absent[0]}" is missing'
        remedy = nearest(unknown[0], COLUMNS) if unknown else f"The header is {','.join(COLUMNS)}."
        raise InputFileError(f"{path}, row 1", f"the column {what}", do=remedy)


def _check_cells(row: Mapping[str, object], where: str) -> None:
    if None in row or None in row.values():
        raise InputFileError(
            where, "it has more or fewer cells than the header",
            do="Mend the row; put texts with a comma in quotes.",
        )  # fmt: skip


def _check(item: Correction, variables: Mapping[tuple[str, str], Variable], where: str) -> None:
    of_no_table = not item.table and not item.variable and item.decision in (CONFIRMED, DELETED)
    if (item.table, item.variable) not in variables and not of_no_table:
        names = [f"{table}.{name}" for table, name in variables]
        raise InputFileError(
            where, f'there is no variable "{item.table}.{item.variable}"',
            do=nearest(f"{item.table}.{item.variable}", names),
        )  # fmt: skip
    if item.decision not in DECISIONS:
        raise InputFileError(
            where,
            f'the decision "{item.decision}" is not known',
            do=nearest(item.decision, DECISIONS),
        )
    if item.decision == CORRECTED:
        read_value(item.new, variables[item.table, item.variable], where)
