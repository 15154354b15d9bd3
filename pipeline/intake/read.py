"""Read a clinic's file as text, exactly as declared; nothing is guessed."""

import codecs
import csv
import io
from pathlib import Path

import fastexcel

from pipeline.intake.mapping import SourceFile
from pipeline.intake.sheet import Record, Sheet, lay_out
from shared.errors import InputFileError, nearest

UTF8_NAMES = ("utf-8", "utf-8-sig")
csv.field_size_limit(1 << 24)


def read_file(folder: Path, source: SourceFile) -> Sheet:
    """Read one declared file of a clinic's folder.

    Raises
    ------
    InputFileError
        If the file is missing, empty, not in the declared encoding, not in the declared
        dialect, or no workbook.
    """
    path = folder / source.path
    if not path.is_file():
        present = [item.name for item in sorted(folder.glob("*")) if item.is_file()]
        raise InputFileError(
            str(path),
            "the file is not there",
            do="Put it there or mend path in the mapping. "
            + (nearest(source.path, present) if present else "The folder holds no file."),
        )
    if path.stat().st_size == 0:
        raise InputFileError(
            str(path), "the file is empty", do="Ask the clinic to export it again."
        )
    if source.format == "xlsx":
        records, sheet = _workbook_records(path, source.sheet)
    else:
        records, sheet = _text_records(decode(path, source.encoding), path, source), ""
    return lay_out(
        records, path=path, file=source.path, sheet=sheet, header_row=source.header_row,
        number_repeats=source.repeated_headers == "number",
    )  # fmt: skip


def decode(path: Path, encoding: str) -> str:
    """Decode a whole file strictly, and refuse what shows that another encoding was used."""
    content = path.read_bytes()
    name = encoding.lower()
    if content.startswith(codecs.BOM_UTF8):
        if name not in UTF8_NAMES:
            raise _wrong_encoding(path, 1, f"it begins with a UTF-8 mark, not {encoding}")
        name = "utf-8-sig"
    try:
        text = content.decode(name)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _wrong_encoding(path, line, f"a byte is not {encoding}") from None
    if name in ("cp1252", "latin-1", "iso-8859-1") and _is_utf8_beyond_ascii(content):
        raise _wrong_encoding(path, 1, f"the text is UTF-8, not {encoding}")
    for mark, what in (("\x00", "a NUL character"), ("\ufffd", "a replacement character")):
        if mark in text:
            line = text[: text.index(mark)].count("\n") + 1
            raise _wrong_encoding(path, line, f"there is {what} in the text")
    return text


def _is_utf8_beyond_ascii(content: bytes) -> bool:
    if content.isascii():
        return False
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _wrong_encoding(path: Path, line: int, what: str) -> InputFileError:
    return InputFileError(
        f"{path}, line {line}",
        what,
        do='Set encoding in the mapping to the one the clinic used ("utf-8", "cp1252", '
        '"latin-1", "utf-16"), or ask for the file again.',
    )


def _text_records(text: str, path: Path, source: SourceFile) -> list[Record]:
    """Split into records; a record's place is its row in a spreadsheet, blank lines included."""
    quoting = csv.QUOTE_MINIMAL if source.quote else csv.QUOTE_NONE
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=source.delimiter,
        quotechar=source.quote or None, quoting=quoting, strict=True,
    )  # fmt: skip
    records: list[Record] = []
    opened = 1
    try:
        for record in reader:
            records.append(record)
            opened = reader.line_num + 1
    except csv.Error as error:
        raise InputFileError(
            f"{path}, row {len(records) + 1} (line {opened})",
            f"a quote is not closed, or text follows a closing quote ({error})",
            do="Check quote in the mapping, or ask the clinic to mend this row.",
        ) from None
    return records


def _workbook_records(path: Path, sheet: str) -> tuple[list[Record], str]:
    """Read one sheet, each cell as text; a real date cell comes as "2021-02-01 00:00:00"."""
    try:
        workbook = fastexcel.read_excel(path)
        names = list(workbook.sheet_names)
        name = sheet or names[0]
        if name not in names:
            raise InputFileError(
                str(path),
                f'there is no sheet "{name}"',
                do="Mend sheet in the mapping. " + nearest(name, names),
            )
        frame = workbook.load_sheet(
            name, header_row=None, skip_rows=0, dtypes="string"
        ).to_polars()  # fmt: skip
    except (InputFileError, KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # the reader's own panics are no ordinary exceptions
        raise InputFileError(
            str(path),
            f"the workbook cannot be read ({type(error).__name__})",
            do="Open it in a spreadsheet program and save it again as .xlsx.",
        ) from None
    return list(frame.rows()), name
