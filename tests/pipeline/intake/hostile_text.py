"""Hostile text files and paths: name -> what is written, how it is declared, how it must end."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

SECRET = "Owner-7731"  # stands in cells; must be in no error
GOOD = f"Case,Side,Date\nA1,L,2021-02-01\n{SECRET},R,2021-03-05\n"
Make = Callable[[Path], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hostile:
    """A file, its declaration in TOML, and a word of the refusal, or the rows and their fates.

    `ends` is a part of the refusal; or (source rows, mapped, set aside, unreadable).
    """

    ends: str | tuple[int, int, int, int]
    content: bytes | str = b""
    make: Make | None = None
    name: str = "a.csv"
    says: str = ""


def _at(path: str, make: Callable[[Path], None]) -> Make:
    return lambda folder: make(folder / path)


def _link(target: str) -> Make:
    def make(folder: Path) -> None:
        (folder.parent / "outside.csv").write_text(GOOD, "utf-8")
        (folder / "real.csv").write_text(GOOD, "utf-8")
        (folder / "a.csv").symlink_to(target)

    return make


TEXT: Mapping[str, Hostile] = {
    "a NUL byte": Hostile(content=GOOD.replace("A1", "A\x001"), ends="NUL"),
    "a cell of 100 MB": Hostile(content=GOOD + '"' + "x" * 100_000_000 + '",L,x\n', ends="row 4"),
    "a line of 20 MB": Hostile(content="x" * 20_000_000 + "\n1\n", ends="row 1"),
    "20,000 columns": Hostile(
        content=",".join(f"c{n}" for n in range(20_000)) + "\n" + "," * 19_999 + "\n",
        ends="20000 columns"),
    "a quote never closed": Hostile(content=GOOD + '"A2,L,2021\nA3,R,2022\n', ends="row 4"),
    "text after a quote": Hostile(content=GOOD + '"A2"x,L,2021-01-01\n', ends="quote"),
    "nothing but quotes": Hostile(content='"' * 100_001, ends="quote"),
    "two encodings in one": Hostile(
        content=GOOD.encode() + "Ä,L,x\n".encode() + "Ö,L,x\n".encode("cp1252"), ends="line 5"),
    "UTF-8 declared as cp1252": Hostile(
        content=GOOD + "Ä,L,2021-01-01\n", says='encoding = "cp1252"', ends="UTF-8"),
    "UTF-16 of odd length": Hostile(
        content=GOOD.encode("utf-16")[:-1], says='encoding = "utf-16"', ends="utf-16"),
    "UTF-16 declared, UTF-8 sent": Hostile(
        content=GOOD, says='encoding = "utf-16"', ends="utf-16"),
    "an overlong encoding": Hostile(content=GOOD.encode() + b"\xc0\xaf,L,x\n", ends="line 4"),
    "half of a surrogate pair": Hostile(
        content=GOOD.encode() + b"\xed\xa0\x80,L,x\n", ends="line 4"),
    "replacement characters": Hostile(content=GOOD + "\ufffd,L,x\n", ends="replacement"),
    "a byte-order mark alone": Hostile(content=b"\xef\xbb\xbf", ends="empty"),
    "blank lines alone": Hostile(content="\n\n \n", ends="empty"),
    "a file of no bytes": Hostile(content="", ends="empty"),
    "a header alone": Hostile(content="Case,Side,Date\n", ends=(0, 0, 0, 0)),
    "a blank header": Hostile(content=",,\n1,2,3\n", ends="no header"),
    "headers that stand twice": Hostile(content="Case,Side,Side\n1,L,R\n", ends="stands twice"),
    "headers that stand thrice, numbered": Hostile(
        content="Case,Side,Date,Side,Side\nA,L,2021-02-01,,\n",
        says='repeated_headers = "number"', ends=(1, 1, 0, 0)),
    "a header that steers the terminal": Hostile(
        content='"\x1b[2J\n\u202ex","\x1b[2J\n\u202ex"\n1,2\n', ends="stands twice"),
    "a header of 1 MB that stands twice": Hostile(
        content=f"{'x' * 1_000_000},{'x' * 1_000_000}\n1,2\n", ends="column \"xxx"),
    "empty headers": Hostile(content="Case,Side,Date,,\nA,L,2021-02-01,x,\n", ends=(1, 1, 0, 0)),
    "headers of the program": Hostile(content="Case,Side,Date,sulca:row\n", ends="sulca:"),
    "headers like inner columns": Hostile(
        content="Case,Side,Date,row,file,raw:side,row_id\nA,L,2021-02-01,9,x,R,1\n",
        ends=(1, 1, 0, 0)),
    "a header like SQL": Hostile(
        content='Case,Side,Date,"x""; DROP TABLE stifles; --"\nA,L,2021-02-01,1\n',
        ends=(1, 1, 0, 0)),
    "a header like HTML": Hostile(
        content="Case,Side,Date,<script>alert(1)</script>\nA,L,2021-02-01,1\n",
        ends=(1, 1, 0, 0)),
    "a header of 1 MB": Hostile(
        content=f"Case,Side,Date,{'x' * 1_000_000}\nA,L,2021-02-01,1\n", ends=(1, 1, 0, 0)),
    "cells like formulas": Hostile(
        content=GOOD + "\"=cmd|' /C calc'!A0\",L,2021-02-01\n+1,@x,-1\n", ends=(4, 4, 0, 0)),
    "right to left and combining": Hostile(
        content=GOOD + "\u202eA\u0301\u0301\u0301\u05d0\u200f,L,2021-02-01\n", ends=(3, 3, 0, 0)),
    "escape sequences of a terminal": Hostile(
        content=GOOD + "\x1b[2J\x07,L,2021-02-01\n", ends=(3, 3, 0, 0)),
    "ragged rows": Hostile(content=GOOD + "A2\nA3,L,2021-02-01,x\n", ends=(4, 2, 0, 2)),
    "no row fits": Hostile(content="Case,Side,Date\nA\nB\n", ends="no row fits"),
    "another delimiter": Hostile(content=GOOD, says='delimiter = ";"', ends="no column"),
    "line ends of three kinds": Hostile(
        content="Case,Side,Date\r\nA1,L,2021-02-01\rA2,L,2021-02-01\nA3,R,2021-02-01\r\n",
        ends=(3, 3, 0, 0)),
    "line breaks in cells": Hostile(
        content=GOOD + '"A\n\n\n2",L,2021-02-01\n', ends=(3, 3, 0, 0)),
    "days of no calendar": Hostile(
        content=GOOD + "A2,L,0000-00-00\nA3,L,9999-99-99\nA4,L,nan\nA5,L,1e999\n",
        ends=(6, 6, 0, 0)),
    "errors of a spreadsheet": Hostile(
        content=GOOD + "#N/A,#REF!,#DIV/0!\n#NV,L,#¿NOMBRE?\n", ends=(4, 4, 0, 0)),
    "a workbook called .csv": Hostile(content=b"PK\x03\x04\x14\x00\x00\x08", ends="line 1"),
    "100,000 blank rows": Hostile(content=GOOD + "\n" * 100_000, ends=(100_002, 2, 100_000, 0)),
    "a link out of the folder": Hostile(make=_link("../outside.csv"), ends="outside"),
    "a link to a device": Hostile(make=_link("/dev/zero"), ends="outside"),
    "a link to itself": Hostile(make=_link("a.csv"), ends="opened"),
    "a link to nothing": Hostile(make=_link("nothing.csv"), ends="opened"),
    "a link inside the folder": Hostile(make=_link("real.csv"), ends=(2, 2, 0, 0)),
    "a pipe": Hostile(make=_at("a.csv", os.mkfifo), ends="ordinary"),
    "a folder of that name": Hostile(make=_at("a.csv", Path.mkdir), ends="ordinary"),
    "a path that climbs": Hostile(make=_link("real.csv"), name="../outside.csv", ends="leaves"),
    "a path from the root": Hostile(make=_link("real.csv"), name="/etc/hostname", ends="leaves"),
    "a pattern that climbs": Hostile(make=_link("real.csv"), name="../*.csv", ends="leaves"),
    "a pattern without a file": Hostile(make=_link("real.csv"), name="2021*.csv", ends="no file"),
    "no file": Hostile(make=_link("real.csv"), name="b.csv", ends="not there"),
}  # fmt: skip
