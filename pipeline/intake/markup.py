"""XML parts of workbooks, streamed; a document that declares entities is refused unread."""

import zipfile
from collections.abc import Callable, Iterable, Mapping
from typing import NoReturn
from xml.parsers import expat

from pipeline.intake.archive import part_blocks
from shared.errors import InputFileError

Start = Callable[[str, Mapping[str, str]], None]
End = Callable[[str], None]
Text = Callable[[str], None]


def read_part(
    archive: zipfile.ZipFile, name: str, *, where: str, start: Start, end: End | None = None,
    text: Text | None = None,
) -> None:  # fmt: skip
    """Walk through one XML part of an archive; element names come without their prefix."""
    read_xml(part_blocks(archive, name, where), where=f"{where}, part {name}", start=start,
             end=end, text=text)  # fmt: skip


def read_xml(
    blocks: Iterable[bytes], *, where: str, start: Start, end: End | None, text: Text | None
) -> None:
    """Walk through XML that comes in blocks."""
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = lambda name, found: start(
        name if ":" not in name else _bare(name), found
    )
    if end:
        closed = end
        parser.EndElementHandler = lambda name: closed(name if ":" not in name else _bare(name))
    if text:
        parser.CharacterDataHandler = text

    def declared(*_: object) -> NoReturn:
        raise InputFileError(
            where, "it declares a document type, which no spreadsheet program writes",
            do="Open it in a spreadsheet program you trust and save it again.",
        )  # fmt: skip

    parser.StartDoctypeDeclHandler = declared
    parser.EntityDeclHandler = declared
    try:
        for block in blocks:
            parser.Parse(block, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise InputFileError(
            f"{where}, line {error.lineno}", "the file is damaged: this is no well-formed XML",
            do="Open it in a spreadsheet program and save it again.",
        ) from None  # fmt: skip


def _bare(name: str) -> str:
    return name.rpartition(":")[2]
