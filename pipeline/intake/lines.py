"""Where the lines of a text are, and how many cells each certainly has."""

from dataclasses import dataclass

import numpy as np

PIECE = 1 << 20  # bytes looked at together, so few that a processor has them at hand
LINE_FEED, CARRIAGE_RETURN = 10, 13
Ints = np.ndarray[tuple[int], np.dtype[np.int64]]
Bools = np.ndarray[tuple[int], np.dtype[np.bool_]]
Characters = np.ndarray[tuple[int], np.dtype[np.uint8]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """The lines of a content that only line feeds end.

    Attributes
    ----------
    starts, ends
        Where each line begins, and where the next one does.
    cells
        The number of cells; -1 unless each quote of the line opens a cell, closes it on the same
        line, or is one of two that stand for a quote inside it.
    """

    content: bytes
    starts: Ints
    ends: Ints
    cells: Ints

    @property
    def empty(self) -> Bools:
        """Lines that hold nothing but their line break."""
        characters = np.frombuffer(self.content, np.uint8)
        first = characters[self.starts]
        size = self.ends - self.starts
        broken = (first == LINE_FEED) & (size == 1)
        return broken | ((first == CARRIAGE_RETURN) & (size == 2))

    def text(self, line: int) -> str:
        """Give one line with its line break."""
        return self.content[self.starts[line] : self.ends[line]].decode()


def find_lines(
    content: bytes, *, delimiter: str, quote: str, start: int = 0, piece: int = PIECE
) -> Lines:
    """Find the lines of a content in which each carriage return stands before a line feed."""
    characters = np.frombuffer(content, np.uint8)
    ends: list[Ints] = []
    cells: list[Ints] = []
    at = start
    while at < len(content):
        cut = content.rfind(b"\n", at, at + piece) + 1 or content.find(b"\n", at + piece) + 1
        cut = cut or len(content)
        part = characters[at:cut]
        marks = np.flatnonzero((part == ord(delimiter)) | (part == LINE_FEED))
        parted = _parted(part, marks)
        ends.append(parted[0] + at)
        cells.append(_cells(part, marks, parted, delimiter=ord(delimiter),
                            quote=quote and ord(quote)))  # fmt: skip
        at = cut
    ended = np.concatenate(ends)
    return Lines(
        content=content, starts=np.concatenate([[start], ended[:-1]]), ends=ended,
        cells=np.concatenate(cells),
    )  # fmt: skip


def _parted(piece: Characters, marks: Ints) -> tuple[Ints, Ints]:
    """Give where each line ends, and its number of cells if no quote counts."""
    feeds = np.flatnonzero(piece[marks] == LINE_FEED)
    ends, cells = marks[feeds] + 1, np.diff(feeds, prepend=-1)
    if not ends.size or ends[-1] != piece.size:  # the last line may have no line feed
        ends = np.append(ends, piece.size)
        cells = np.append(cells, marks.size - (feeds[-1] if feeds.size else -1))
    return ends, cells


def _cells(
    piece: Characters, marks: Ints, parted: tuple[Ints, Ints], *, delimiter: int, quote: int | str
) -> Ints:
    """Correct the number of cells for delimiters between quotes; `marks` hold line feeds too."""
    ends, cells = parted
    quotes = np.flatnonzero(piece == quote) if quote else marks[:0]
    if not quotes.size:
        return cells
    line = np.searchsorted(ends, quotes, side="right")
    in_line = np.bincount(line, minlength=ends.size)
    place = np.arange(quotes.size) - (np.cumsum(in_line) - in_line)[line]
    fits = _fits(piece, quotes, place, delimiter=delimiter)
    odd = in_line % 2 == 1
    odd[line[~fits]] = True
    sure = ~odd[line]
    opened, closed = quotes[sure][0::2], quotes[sure][1::2]
    filled = closed - opened > 1  # between the quotes of an empty cell is nothing to count
    inside = np.searchsorted(marks, closed[filled]) - np.searchsorted(marks, opened[filled])
    lines = line[sure][0::2][filled]
    cells -= np.bincount(lines, weights=inside, minlength=ends.size).astype(np.int64)
    cells[odd] = -1
    return cells


def _fits(piece: Characters, quotes: Ints, place: Ints, *, delimiter: int) -> Bools:
    """Tell which quotes have beside them what one that opens, or one that closes, may have."""
    quote = piece[quotes[0]]
    before = np.where(quotes > 0, piece[quotes - 1], LINE_FEED)
    after = np.where(quotes + 1 < piece.size, piece[(quotes + 1) % piece.size], LINE_FEED)
    opens = (before == delimiter) | (before == LINE_FEED) | ((before == quote) & (place > 0))
    closes = (
        (after == delimiter) | (after == LINE_FEED) | (after == CARRIAGE_RETURN) | (after == quote)
    )
    return np.where(place % 2 == 0, opens, closes)
