"""One sheet of an .xlsx workbook as text, streamed with the standard library alone.

Every cell as the workbook holds it: the result of a formula where it was calculated, the formula
itself (=A1+B1) where it was not, an error as its text (#N/A); hidden rows, hidden columns and
merged cells are told.
"""

import posixpath
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from typing import IO

from pipeline.intake.archive import open_archive
from pipeline.intake.grid import Cells, Grid
from pipeline.intake.limits import Limits
from pipeline.intake.markup import read_part
from pipeline.intake.number_formats import BUILT_IN, format_kind
from pipeline.intake.workbook_sheet import SheetReader, truth, unescaped
from shared.errors import InputFileError, nearest

FIRST_SHEET = "\x00"  # no sheet can be called so: the first that can be seen is meant
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


@dataclass(slots=True, kw_only=True)
class Contents:
    """Which sheets a workbook has, by name, and how it counts days."""

    sheets: dict[str, str]  # name -> part
    visible: list[str]
    from_1904: bool = False


def read_workbook(handle: IO[bytes], sheet: str, *, where: str, limits: Limits) -> Grid:
    """Read one sheet.

    Raises
    ------
    InputFileError
        If it is no .xlsx workbook, the sheet is not in it, or the limits do not allow it.
    """
    if handle.read(4) == OLD_WORKBOOK:
        raise InputFileError(
            where, "it is an old .xls workbook, or one with a password",
            do="Open it in a spreadsheet program and save it as .xlsx without a password.",
        )  # fmt: skip
    handle.seek(0)
    archive = open_archive(handle, where, limits)
    main = _main_part(archive, where)
    contents = _contents(archive, main, where)
    name = chosen_sheet(sheet, list(contents.sheets), contents.visible, where=where)
    parts = _related(archive, main, where)
    reader = SheetReader(
        cells=Cells(where=f"{where}, sheet {name}", limits=limits),
        texts=_shared_texts(archive, parts.get("sharedStrings", ""), where),
        kinds=_format_kinds(archive, parts.get("styles", ""), where),
        from_1904=contents.from_1904,
    )
    read_part(archive, contents.sheets[name], where=where, start=reader.start, end=reader.end,
              text=reader.text)  # fmt: skip
    return reader.grid(name, tuple(item for item in contents.sheets if item != name))


def chosen_sheet(wanted: str, names: list[str], visible: list[str], *, where: str) -> str:
    """Give the sheet that the mapping names, the only one that can be seen, or the first."""
    if wanted in names:
        return wanted
    if visible and (wanted == FIRST_SHEET or (not wanted and len(visible) == 1)):
        return visible[0]
    if not wanted:
        raise InputFileError(
            where, "the workbook has several sheets and the mapping names none",
            do=f"Add sheet to its [[file]]. The sheets: {', '.join(names)}.",
        )  # fmt: skip
    raise InputFileError(
        where, f'there is no sheet "{wanted}"', do="Mend sheet in the mapping. "
        + (nearest(wanted, names) if names else "The workbook has no sheet."),
    )  # fmt: skip


def _main_part(archive: zipfile.ZipFile, where: str) -> str:
    """Find the part that lists the sheets."""
    found = _related(archive, "", where).get("officeDocument", "xl/workbook.xml")
    if found not in archive.namelist():
        raise InputFileError(
            where, "it is a zip archive but no workbook",
            do="If it is an archive of files, write member in the mapping; otherwise open it in "
            "a spreadsheet program and save it again as .xlsx.",
        )  # fmt: skip
    return found


def _relations(archive: zipfile.ZipFile, part: str, where: str) -> list[Mapping[str, str]]:
    folder, name = posixpath.split(part)
    listed = posixpath.join(folder, "_rels", f"{name}.rels")
    found: list[Mapping[str, str]] = []
    if listed in archive.namelist():
        read_part(archive, listed, where=where, start=lambda tag, attributes: found.append(
            attributes) if tag == "Relationship" else None)  # fmt: skip
    return found


def _target(part: str, target: str) -> str:
    joined = posixpath.join(posixpath.dirname(part), target)
    return posixpath.normpath(target if target.startswith("/") else joined).lstrip("/")


def _related(archive: zipfile.ZipFile, part: str, where: str) -> dict[str, str]:
    """Give the parts that belong to a part, by kind."""
    return {
        item.get("Type", "").rpartition("/")[2]: _target(part, item.get("Target", ""))
        for item in _relations(archive, part, where)
    }


def _contents(archive: zipfile.ZipFile, main: str, where: str) -> Contents:
    parts = {
        item.get("Id", ""): _target(main, item.get("Target", ""))
        for item in _relations(archive, main, where)
    }
    contents = Contents(sheets={}, visible=[])

    def start(tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "workbookPr":
            contents.from_1904 = truth(attributes.get("date1904"))
        if tag == "sheet":
            key = next((text for name, text in attributes.items() if name.endswith(":id")), "")
            part = parts.get(key, "")
            if "worksheets/" in part or "chartsheets/" not in part:
                contents.sheets[attributes.get("name", "")] = part
                if attributes.get("state", "visible") == "visible":
                    contents.visible.append(attributes.get("name", ""))

    read_part(archive, main, where=where, start=start)
    return contents


def _shared_texts(archive: zipfile.ZipFile, part: str, where: str) -> list[str]:
    """Read the texts that cells point to; what is said of their pronunciation is no text."""
    texts: list[str] = []
    state = {"t": 0, "rPh": 0}

    def start(tag: str, _: Mapping[str, str]) -> None:
        if tag == "si":
            texts.append("")
        elif tag in state:
            state[tag] += 1

    def end(tag: str) -> None:
        if tag in state:
            state[tag] -= 1

    def text(piece: str) -> None:
        if state["t"] and not state["rPh"] and texts:
            texts[-1] += piece

    if part in archive.namelist():
        read_part(archive, part, where=where, start=start, end=end, text=text)
    return [unescaped(item) for item in texts]


def _format_kinds(archive: zipfile.ZipFile, part: str, where: str) -> list[str]:
    """Tell for each cell style whether it shows a date, a time or a number."""
    codes: dict[str, str] = {}
    kinds: list[str] = []
    inside: list[str] = []

    def start(tag: str, attributes: Mapping[str, str]) -> None:
        inside.append(tag)
        number = attributes.get("numFmtId", "0")
        if tag == "numFmt":
            codes[number] = attributes.get("formatCode", "")
        if tag == "xf" and "cellXfs" in inside:
            known = BUILT_IN.get(int(number), "") if number.isdecimal() else ""
            kinds.append(format_kind(codes[number]) if number in codes else known)

    def end(_: str) -> None:
        inside.pop()

    if part in archive.namelist():
        read_part(archive, part, where=where, start=start, end=end)
    return kinds
