"""Blocks: the parts of a source row that make a row of their own."""

from dataclasses import replace

from pipeline.intake.mapping import Block, TableMapping
from pipeline.intake.sources import Source


def in_block(table: TableMapping, block: Block, header: tuple[str, ...]) -> TableMapping:
    """Write the block's words into every header, "{side}" -> "links".

    "#3" is the third header; "Date (1)" is "Date" where repeated headers are numbered.
    """

    def spelled(text: str) -> str:
        for word, meaning in block.words.items():
            text = text.replace(f"{{{word}}}", meaning)
        return text

    def named(text: str) -> str:
        text = spelled(text)
        place = text[1:] if text.startswith("#") else ""
        if text not in header and place.isdecimal() and 0 < int(place) <= len(header):
            return header[int(place) - 1]
        first = text.removesuffix(" (1)")
        return first if text not in header and first in header else text

    columns = {
        name: tuple(
            replace(
                item,
                columns=tuple(map(named, item.columns)),
                pattern=spelled(item.pattern),
                part=spelled(item.part),
            )
            for item in sources
        )
        for name, sources in table.columns.items()
    }
    constants = {name: (Source(value=code),) for name, code in block.values.items()}
    return replace(
        table,
        columns=columns | constants,
        lists=tuple(replace(item, column=named(item.column)) for item in table.lists),
        pieces=table.pieces and replace(table.pieces, column=named(table.pieces.column)),
        where=tuple(replace(item, column=named(item.column)) for item in table.where),
        blocks=(replace(block, present=tuple(map(named, _present(table, block)))),),
    )


def _present(table: TableMapping, block: Block) -> tuple[str, ...]:
    """Give the columns that show that a block is there: declared, or all that are its own."""
    if block.present or not block.words:
        return block.present
    marks = [f"{{{word}}}" for word in block.words]
    headers = [
        name for sources in table.columns.values() for item in sources for name in item.columns
    ]
    headers += [item.column for item in table.lists]
    return tuple(dict.fromkeys(name for name in headers if any(mark in name for mark in marks)))
