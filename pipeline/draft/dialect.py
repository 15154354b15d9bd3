"""How a text file is written: encoding, delimiter, quote; each guess with its evidence."""

import codecs
import csv
import io
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from shared.errors import InputFileError

DELIMITERS = (",", ";", "\t", "|")
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_OLD = ("cp1252", "cp850", "mac-roman")
_LETTERS = frozenset("äöüßÄÖÜàâçéèêëîïôùûüœæÀÂÇÉÈÊËÎÏÔÙÛñáíóúÑÁÍÓÚ¿¡ºª°øØ«»’‘“”–—€µ±²³½×·…\xa0")
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_SAMPLE_LINES = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """Something read off the file: what of, its value, why, and whether that settles it."""

    what: str
    value: str
    evidence: str
    proved: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """A text file's encoding, delimiter and quote, and why they are thought so."""

    encoding: str = "utf-8"
    delimiter: str = ","
    quote: str = '"'
    guesses: tuple[Guess, ...] = ()


def guess_dialect(content: bytes, path: Path) -> Dialect:
    """Guess how the content of a text file is written.

    Raises
    ------
    InputFileError
        If it is no text, or holds no delimiter.
    """
    encoding = _encoding(content, path)
    text = content.decode(encoding.value, "replace")
    lines = "".join(io.StringIO(text).readlines()[:_SAMPLE_LINES])
    quote = _quote(lines)
    delimiter = _delimiter(lines, quote.value, path)
    return Dialect(
        encoding=encoding.value, delimiter=delimiter.value, quote=quote.value,
        guesses=(encoding, delimiter, quote),
    )  # fmt: skip


def _encoding(content: bytes, path: Path) -> Guess:
    for mark, name in _MARKS:
        if content.startswith(mark):
            return Guess(what="encoding", value=name, proved=True,
                         evidence="the file begins with a byte-order mark")  # fmt: skip
    if b"\x00" in content:
        raise InputFileError(
            str(path), "the file holds NUL bytes; it is no text", do="Ask the clinic for CSV UTF-8."
        )
    try:
        text = content.decode("utf-8")
        beyond = sum(mark > "\x7f" for mark in text)
        why = f"{beyond} letters beyond ASCII, all valid UTF-8" if beyond else "ASCII only"
        return Guess(what="encoding", value="utf-8", proved=True, evidence=why)
    except UnicodeDecodeError:
        beyond = bytes(byte for byte in content if byte > 127)
    scores = {name: _plausible(beyond, name) for name in _OLD}
    best = max(_OLD, key=lambda name: scores[name])
    return Guess(
        what="encoding", value=best, proved=scores[best] == 1,
        evidence=f"no valid UTF-8; read so, {scores[best]:.0%} of its {len(beyond)} letters beyond "
        "ASCII are letters of English, German, French or Spanish",
    )  # fmt: skip


def _plausible(beyond: bytes, encoding: str) -> float:
    text = beyond.decode(encoding, "replace")
    return sum(mark in _LETTERS for mark in text) / max(len(text), 1)


def _quote(lines: str) -> Guess:
    starts = Counter(
        mark for mark in "\"'"
        for cell in (f"{delimiter}{mark}" for delimiter in DELIMITERS)
        for _ in range(lines.count(cell))
    )  # fmt: skip
    starts.update(line[0] for line in lines.splitlines() if line[:1] in ('"', "'"))
    if starts["'"] > 2 * starts['"'] and starts["'"] > 3:
        return Guess(what="quote", value="'", evidence=f"{starts[chr(39)]} cells begin with it",
                     proved=False)  # fmt: skip
    why = f"{starts[chr(34)]} cells begin with it" if starts['"'] else "no cell is quoted"
    return Guess(what="quote", value='"', evidence=why, proved=True)


def _delimiter(lines: str, quote: str, path: Path) -> Guess:
    found: list[tuple[float, int, str]] = []
    for delimiter in DELIMITERS:
        reader = csv.reader(io.StringIO(lines, newline=""), delimiter=delimiter, quotechar=quote)
        widths = Counter(len(record) for record in reader if record)
        width, rows = widths.most_common(1)[0] if widths else (1, 0)
        if width > 1:
            found.append((round(rows / widths.total(), 1), width, delimiter))
    if not found:
        raise InputFileError(
            str(path), "no comma, semicolon, tab or bar parts its cells",
            do="Ask the clinic for a CSV file or a workbook.",
        )  # fmt: skip
    share, width, delimiter = max(found)
    return Guess(
        what="delimiter", value=delimiter, proved=share >= 0.9,
        evidence=f"a {_NAMES[delimiter]} gives {share:.0%} of rows {width} cells",
    )  # fmt: skip
