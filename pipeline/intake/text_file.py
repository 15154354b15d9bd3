"""A text file as records: decoded as declared, split as declared, nothing guessed."""

import codecs
import csv
import io
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.intake.mapping import SourceFile
from pipeline.intake.sheet import Record
from shared.errors import InputFileError

if TYPE_CHECKING:
    from _csv import Reader

UTF8_NAMES = ("utf-8", "utf-8-sig")
ASCII_AND_MORE = ("ascii", "cp1252", "latin-1", "iso-8859-1")
REPLACED = "\ufffd".encode()
PIECE = 1 << 20  # bytes decoded together
LONGEST_CELL = 1 << 24
csv.field_size_limit(LONGEST_CELL)


def decode(path: Path, encoding: str) -> str:
    """Decode a whole file strictly, and refuse what shows that another encoding was used."""
    return decode_content(path.read_bytes(), path, encoding)


def decode_content(content: bytes, path: Path, encoding: str) -> str:
    """Decode the content of a file as `decode` does."""
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


def as_utf8(content: bytes, path: Path, encoding: str) -> bytes:
    """Give the content of a file in UTF-8, refused where `decode` refuses it.

    What is UTF-8 already stays the bytes it is: a large file is not held twice.
    """
    name = encoding.lower()
    is_ascii = content.isascii()
    same = (*UTF8_NAMES, *ASCII_AND_MORE) if is_ascii else UTF8_NAMES
    if name in same and b"\x00" not in content and (is_ascii or _is_plain_utf8(content)):
        return content
    return decode_content(content, path, encoding).encode()


def _is_plain_utf8(content: bytes) -> bool:
    """Tell valid UTF-8 without a mark at its beginning or replacement characters."""
    if content.startswith(codecs.BOM_UTF8) or REPLACED in content:
        return False
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for at in range(0, len(content), PIECE):
            decoder.decode(content[at : at + PIECE], final=at + PIECE >= len(content))
    except UnicodeDecodeError:
        return False
    return True


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


def text_records(text: str, path: Path, source: SourceFile) -> list[Record]:
    """Split into records; a record's place is its row in a spreadsheet, blank lines included."""
    reader = record_reader(io.StringIO(text, newline=""), source)
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


def record_reader(lines: Iterable[str], source: SourceFile) -> "Reader":
    """Make the strict reader of these lines; each comes with its line break."""
    return csv.reader(
        lines, delimiter=source.delimiter, quotechar=source.quote or None,
        quoting=csv.QUOTE_MINIMAL if source.quote else csv.QUOTE_NONE, strict=True,
    )  # fmt: skip
