"""Headers that repeat for recheck 1, 2, 3 or for left and right, as one family each."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pipeline.draft.header import Column, Grid
from pipeline.draft.places import all_places, numbers_of, plain_places, runs, without_numbers
from pipeline.draft.plain import Tokens, joined, tokens
from pipeline.draft.vocabulary import Vocabulary

SideWords = tuple[str, str]
_WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Columns that say one thing, for several numbers or both sides.

    Attributes
    ----------
    template
        The header with "{n}" for the number and "{s}" for the side.
    labels
        Its numbers as they are written; empty for none.
    sides
        The words for left and right in the header; empty for none.
    loose
        Whether columns of other numbers say the same and no block could be made of them.
    """

    template: str
    columns: tuple[Column, ...]
    labels: tuple[str, ...] = ()
    sides: SideWords | tuple[()] = ()
    loose: bool = False

    @property
    def repeat(self) -> int:
        """Count its numbers; 0 for none."""
        return len(self.labels)

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
    loose = _loose(grid, bases, numbered)
    found: dict[str, list[tuple[Column, str, SideWords | tuple[()]]]] = {}
    for name, column in by_header.items():
        base, words = sides.get(name, (name, ()))
        template, label = numbered.get(base, (base, ""))
        found.setdefault(template, []).append((column, label, words))
    return [
        Family(
            template=template, columns=tuple(column for column, _, _ in members),
            labels=tuple(dict.fromkeys(label for _, label, _ in members if label)),
            sides=members[0][2], loose=template in loose,
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


def _number_templates(names: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Group names that differ only in a number: those that run from 1 first, then any other."""
    names = list(names)
    found: dict[str, tuple[str, str]] = {}
    for plain in (True, False):
        groups: dict[str, dict[str, str]] = {}
        for name in names:
            for place in plain_places(name) if plain else all_places(name):
                if name not in found:
                    groups.setdefault(place.out_of(name), {})[place.text] = name
        for template, members in sorted(groups.items(), key=lambda pair: -len(pair[1])):
            left = {label: name for label, name in members.items() if name not in found}
            in_order = sorted(left, key=int) if plain else list(left)
            if len(left) == len(members) > 1 and (runs(in_order) or not plain):
                found |= {name: (template, label) for label, name in left.items()}
    return found


def _loose(
    grid: Grid, names: Iterable[str], numbered: Mapping[str, tuple[str, str]]
) -> frozenset[str]:
    """Find templates that say the same as others under another number, without being a block.

    None of them is proposed for a variable: the visits of an animal would be mixed.
    """
    headers = {column.header for column in grid.columns}
    alike: dict[Tokens, dict[str, set[str]]] = {}
    loose: set[str] = set()
    for name in names:
        template = numbered.get(name, (name, ""))[0]
        again = re.fullmatch(r"(.+) \(\d+\)", name)
        if grid.repeated and again and again[1] in headers:
            loose.add(template)
        if numbers_of(name):
            same = alike.setdefault(without_numbers(name), {})
            same.setdefault(template, set()).add(" ".join(numbers_of(name)))
    for templates in alike.values():
        if len(templates) > 1:
            loose |= set(templates)
    return frozenset(loose)
