"""Headers that repeat for recheck 1, 2, 3 or for left and right, as one family each."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pipeline.draft.header import Column, Grid
from pipeline.draft.plain import joined, tokens
from pipeline.draft.vocabulary import Vocabulary

SideWords = tuple[str, str]
_DIGITS = re.compile(r"(?<![\d.,/#])\d{1,2}(?![\d.,/])")
_BRACKETS = re.compile(r"[(\[][^)\]]*[)\]]")
_WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Columns that say one thing, for several numbers or both sides.

    Attributes
    ----------
    template
        The header with "{n}" for the number and "{s}" for the side.
    repeat
        How many numbers there are; 0 for none.
    sides
        The words for left and right in the header; empty for none.
    """

    template: str
    columns: tuple[Column, ...]
    repeat: int = 0
    sides: SideWords | tuple[()] = ()

    @property
    def counts(self) -> Counter[str]:
        """Count the texts of all its columns."""
        return sum((column.counts for column in self.columns), Counter[str]())

    @property
    def n_cells(self) -> int:
        """Count its cells, blank ones too."""
        return sum(len(column.cells) for column in self.columns)

    @property
    def identifier(self) -> str:
        """Name the kind of direct identifier it looks like, if any."""
        return next((item.identifier for item in self.columns if item.identifier), "")


def find_families(grid: Grid, vocabulary: Vocabulary) -> list[Family]:
    """Gather the columns of a sheet into families, in the order of the sheet."""
    by_header = {column.header: column for column in grid.columns}
    sides = _side_templates(by_header, vocabulary)
    bases = dict.fromkeys(sides.get(name, (name, ()))[0] for name in by_header)
    numbered = _number_templates(bases)
    found: dict[str, list[tuple[Column, int, SideWords | tuple[()]]]] = {}
    for name, column in by_header.items():
        base, words = sides.get(name, (name, ()))
        template, number = numbered.get(base, (base, 0))
        found.setdefault(template, []).append((column, number, words))
    return [
        Family(
            template=template, columns=tuple(column for column, _, _ in members),
            repeat=max(number for _, number, _ in members), sides=members[0][2],
        )
        for template, members in found.items()
    ]  # fmt: skip


def in_rows(family: Family, rows: Sequence[int]) -> Counter[str]:
    """Count the texts of a family in some rows only."""
    return Counter(
        cell for column in family.columns for row in rows if (cell := column.cells[row]) is not None
    )


def _side_templates(
    headers: Mapping[str, Column], vocabulary: Vocabulary
) -> dict[str, tuple[str, SideWords]]:
    """Pair headers that differ only in a word for left and one for right of one language."""
    words: dict[str, dict[str, set[str]]] = {}
    for phrase in vocabulary.codes["side"]:
        if phrase.code in ("left", "right"):
            pair = words.setdefault(phrase.language, {"left": set(), "right": set()})
            pair[phrase.code].add(joined(phrase.words))
    found: dict[str, tuple[str, SideWords]] = {}
    for name in headers:
        for left, right, template in _pairs(name, headers, words.values()):
            found.setdefault(name, (template, (left, right)))
            found.setdefault(template.replace("{s}", right), (template, (left, right)))
    return found


def _pairs(
    name: str, headers: Iterable[str], languages: Iterable[Mapping[str, set[str]]]
) -> Iterable[tuple[str, str, str]]:
    for spot in _WORD.finditer(name):
        before, after = name[: spot.start()], name[spot.end() :]
        for pair in languages:
            if joined(tokens(spot[0])) not in pair["left"]:
                continue
            for other in headers:
                if other == name or not (other.startswith(before) and other.endswith(after)):
                    continue
                middle = other[len(before) : len(other) - len(after)]
                if (
                    len(other) > len(before) + len(after)
                    and joined(tokens(middle)) in pair["right"]
                ):
                    yield spot[0], middle, f"{before}{{s}}{after}"


def _number_templates(names: Iterable[str]) -> dict[str, tuple[str, int]]:
    """Group names that differ only in a number which runs from 1."""
    groups: dict[str, dict[int, str]] = {}
    for name in names:
        hidden = _BRACKETS.sub(lambda part: " " * len(part[0]), name)
        for spot in _DIGITS.finditer(hidden):
            template = f"{name[: spot.start()]}{{n}}{name[spot.end() :]}"
            if not spot[0].startswith("0"):
                groups.setdefault(template, {})[int(spot[0])] = name
    found: dict[str, tuple[str, int]] = {}
    for template, members in sorted(groups.items(), key=lambda pair: -len(pair[1])):
        if len(members) > 1 and sorted(members) == list(range(1, len(members) + 1)):
            for number, name in members.items():
                found.setdefault(name, (template, number))
    return found
