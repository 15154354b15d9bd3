"""Cells of a workbook sheet as text, each at its row and column, while they are being read."""

from dataclasses import dataclass, field
from functools import lru_cache

from pipeline.intake.limits import MOST_BLANK_ROWS, MOST_CELL_CHARACTERS, Limits
from shared.errors import InputFileError

Span = tuple[int, int, int, int]  # first row, first column, last row, last column; from 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A sheet: its records from row 1 on, all equally wide but blank rows, which are empty.

    Attributes
    ----------
    sheet, others
        Its name, and the names of the other sheets.
    hidden_rows, hidden_columns
        Numbers, from 1, of those that a person looking at the sheet does not see.
    merged
        Cells drawn as one; only the first of each holds a value.
    """

    records: list[list[str]]
    sheet: str = ""
    others: tuple[str, ...] = ()
    hidden_rows: tuple[int, ...] = ()
    hidden_columns: tuple[int, ...] = ()
    merged: tuple[Span, ...] = ()


@dataclass(slots=True, kw_only=True)
class Cells:
    """The filled cells of one sheet; refuses to hold more than the limits allow."""

    where: str
    limits: Limits
    rows: dict[int, dict[int, str]] = field(default_factory=dict[int, dict[int, str]])
    count: int = 0
    width: int = 0

    def put(self, row: int, column: int, text: str) -> None:
        """Take one cell; a blank text is none."""
        if not text or text.isspace():
            return
        if column > self.limits.columns:
            raise self.refused(
                row, column, f"the sheet is wider than {self.limits.columns} columns"
            )
        if len(text) > MOST_CELL_CHARACTERS:
            raise self.refused(row, column, "the cell holds more than a million characters")
        if "\x00" in text:
            raise self.refused(row, column, "the cell holds a NUL character")
        record = self.rows.setdefault(row, {})
        if column in record:
            raise self.refused(row, column, "the cell stands twice in the file")
        record[column] = text
        self.count += 1
        self.width = max(self.width, column)
        if self.count > self.limits.cells:
            raise self.refused(row, column, f"there are more than {self.limits.cells} cells")

    def refused(self, row: int, column: int, what: str) -> InputFileError:
        """Make the refusal that names a cell as a spreadsheet does."""
        return InputFileError(
            f"{self.where}, cell {cell_name(row, column)}", what,
            do="Look at that cell in a spreadsheet program; delete what does not belong to the "
            "table, save the file and send it again.",
        )  # fmt: skip

    def records(self) -> list[list[str]]:
        """Give every row from the first to the last filled one, at one width."""
        last = 0
        for row in sorted(self.rows):
            if row - last > MOST_BLANK_ROWS + 1:
                column = min(self.rows[row])
                raise self.refused(row, column, f"it stands {row - last - 1} blank rows below")
            last = row
        if last * self.width > self.limits.cells:
            raise self.refused(last, self.width, f"it makes more than {self.limits.cells} cells")
        columns = range(1, self.width + 1)
        return [
            [self.rows[row].get(column, "") for column in columns] if row in self.rows else []
            for row in range(1, last + 1)
        ]


def cell_name(row: int, column: int) -> str:
    """Name a cell as a spreadsheet does: B7."""
    return f"{column_name(column)}{row}"


def column_name(column: int) -> str:
    """Name a column as a spreadsheet does: 28 is AB."""
    letters = ""
    while column > 0:
        column, place = divmod(column - 1, 26)
        letters = chr(65 + place) + letters
    return letters


def cell_place(name: str) -> tuple[int, int] | None:
    """Read "B7" as row 7, column 2; None where it is no cell."""
    letters = name.rstrip("0123456789")
    digits, column = name[len(letters) :], _column_number(letters)
    return (int(digits), column) if column and 0 < len(digits) <= 7 else None


@lru_cache(maxsize=20_000)
def _column_number(letters: str) -> int:
    """Read "AB" as 28; 0 where it is no column."""
    if not (letters.isascii() and letters.isalpha() and len(letters) <= 3):
        return 0
    column = 0
    for letter in letters.upper():
        column = column * 26 + ord(letter) - 64
    return column
