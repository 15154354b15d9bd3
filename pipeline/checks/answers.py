"""A filled-in query list as it came back: its rows as text, and what each answer word means."""

import csv
import io
import json
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pipeline.checks.workbook import ANSWERS
from pipeline.intake.limits import Limits
from pipeline.intake.walls import read_behind_walls
from shared.errors import InputFileError

NEEDED = ("query_id", "animal", "value", "what is wrong", "answer", "right value", "remark",
          "table", "variable")  # fmt: skip
OPTIONAL = ("who", "when")
LARGEST, LARGEST_UNPACKED = 20 * 2**20, 100 * 2**20  # a query list has some hundred kilobytes
WALLS = Limits(memory_mb=1024, cpu_seconds=30, wall_seconds=60, answer_mb=100, cells=2_000_000)
SHEET = "Questions"
AS_SENT = "Ask for the file as it was sent."
# The list offers the English words; people also write their own.
WORDS: Mapping[str, tuple[str, ...]] = {
    "corrected": (
        ANSWERS[0], "correction", "korrigiert", "berichtigt", "geändert", "corrigé", "corrigée",
        "modifié", "corregido", "corregida", "gecorrigeerd", "aangepast", "corretto", "modificato",
    ),
    "confirmed": (
        ANSWERS[1], "correct", "confirmed", "confirmed as correct", "as it is",
        "korrekt", "richtig", "bestätigt", "stimmt", "stimmt so",
        "confirmé", "confirmée", "exact", "juste", "confirmado", "confirmada", "correcto",
        "juist", "klopt", "bevestigd", "esatto", "confermato", "giusto",
    ),
    "unknown": (
        ANSWERS[2], "unknown", "not recorded", "not known", "unbekannt", "nicht erfasst",
        "nicht bekannt", "inconnu", "inconnue", "non renseigné", "introuvable",
        "desconocido", "desconocida", "no registrado", "no consta",
        "onbekend", "niet bekend", "niet genoteerd", "sconosciuto", "non noto", "non registrato",
    ),
    "deleted": (
        ANSWERS[3], "delete", "delete row", "remove this row", "zeile löschen", "löschen",
        "supprimer", "supprimer la ligne", "borrar", "eliminar", "eliminar la fila",
        "verwijderen", "rij verwijderen", "eliminare", "eliminare la riga",
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """One row of a query list that came back; `formulas` names its cells that are formulas."""

    row: int
    cells: Mapping[str, str]
    formulas: tuple[str, ...] = ()

    @property
    def is_blank(self) -> bool:
        """Say that nobody answered here."""
        return not self.cells["answer"] and not self.cells["right value"] and not self.formulas


def decision_of(answer: str) -> str | None:
    """Give what an answer decides, in whichever of the six languages; None for other words."""
    plain = " ".join(answer.casefold().strip(" .!").split())
    for decision, words in WORDS.items():
        if plain in {word.casefold() for word in words}:
            return decision
    return None


def read_filled(path: Path) -> tuple[Filled, ...]:
    """Read a filled query list, the workbook or its CSV; every row that names anything.

    Raises
    ------
    InputFileError
        If the file is no query list, or too large for one.
    """
    if not path.is_file():
        raise InputFileError(str(path), "there is no such file", do="Name the file as it lies.")
    if path.stat().st_size > LARGEST:
        raise InputFileError(str(path), "it is too large for a query list", do=AS_SENT)
    formulas: dict[tuple[int, int], bool] = {}
    if path.suffix.casefold() == ".csv":
        rows = _csv_rows(path)
    else:
        formulas = _formulas(path)
        rows = _workbook_rows(path)
    start = next((place for place, row in enumerate(rows) if "query_id" in row), None)
    header = rows[start] if start is not None else []
    absent = [name for name in NEEDED if header.count(name) != 1]
    if start is None or absent:
        name = absent[0] if absent else NEEDED[0]
        raise InputFileError(str(path), f'the column "{name}" is missing', do=AS_SENT)
    places = {name: header.index(name) for name in (*NEEDED, *OPTIONAL) if name in header}
    return tuple(
        Filled(
            row=number,
            cells={name: row[place] if place < len(row) else "" for name, place in places.items()},
            formulas=tuple(name for name, place in places.items() if (number, place) in formulas),
        )
        for number, row in enumerate(rows[start + 1 :], start=start + 2) if any(row)
    )  # fmt: skip


def _csv_rows(path: Path) -> list[list[str]]:
    raw = path.read_bytes()
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")  # what some spreadsheet programs save
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise InputFileError(str(path), "this is no query list", do=AS_SENT) from error
    return [[_armed(cell.strip()) for cell in row] for row in rows]


def _armed(cell: str) -> str:
    """Take off the apostrophe with which our CSV keeps a cell from running."""
    return cell[1:] if re.match(r"'[=+\-@]", cell) else cell


def _workbook_rows(path: Path) -> list[list[str]]:
    request = {"where": str(path), "format": "xlsx", "archive": "", "member": "", "sheet": SHEET}
    with path.open("rb") as handle:
        _, content = read_behind_walls(handle, request, WALLS)
    records: list[list[str | None]] = json.loads(content)["records"]
    return [[(cell or "").strip() for cell in row] for row in records]


def _formulas(path: Path) -> dict[tuple[int, int], bool]:
    """Find the formulas of the workbook: what they last gave is no answer that anybody wrote."""
    found: dict[tuple[int, int], bool] = {}
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            if sum(part.file_size for part in parts) > LARGEST_UNPACKED:
                raise InputFileError(str(path), "it is too large for a query list", do=AS_SENT)
            for part in parts:
                if part.filename.startswith("xl/worksheets/sheet"):
                    found |= _formulas_of(archive.read(part))
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError) as error:
        raise InputFileError(str(path), "this is no query workbook", do=AS_SENT) from error
    return found


def _formulas_of(sheet: bytes) -> dict[tuple[int, int], bool]:
    found: dict[tuple[int, int], bool] = {}
    for match in re.finditer(rb'<(?:\w+:)?c\s[^>]*?\br="([A-Z]+)([0-9]+)"[^>]*>\s*(<\w*:?f\b)?',
                             sheet):  # fmt: skip
        row, column = int(match[2]), 0
        for letter in match[1]:
            column = 26 * column + letter - 64
        if match[3]:
            found[row, column - 1] = True
    return found
