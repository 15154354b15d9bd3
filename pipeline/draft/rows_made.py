"""One kind of row as a [[table]]: its blocks and conditions, its variables, what is in doubt."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.draft.codes import guess_codes
from pipeline.draft.columns import CONTEXTS, Meaning
from pipeline.draft.families import Family
from pipeline.draft.lines import Line, lines_of
from pipeline.draft.readings import Tongue
from pipeline.draft.tables import Table
from pipeline.draft.toml_text import inline, listed, quoted, shown
from pipeline.draft.word_lists import ListDraft, draft_list
from pipeline.intake.mapping_confirm import ToConfirm

# What shows that a row of its kind is there, the first that are found.
_PRESENT: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "stifles": (("surgery_date",),),
    "rechecks": (("patella_grade", "lameness_score"), ("recheck_day",)),
    "complications": (("complication_type",),),
    "revisions": (("revision_day", "revision_reason"),),
}  # fmt: skip
_ONE: Mapping[str, str] = {"stifles": "", "rechecks": "recheck", "complications": "complication",
                           "revisions": "revision"}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsMade:
    """A [[table]] to be written."""

    table: Table
    make: tuple[str, ...]
    fills: bool
    where: tuple[str, ...]
    blocks: tuple[str, ...]
    lines: tuple[Line, ...]
    lists: tuple[ListDraft, ...]
    doubts: tuple[ToConfirm, ...]


def rows_made(table: Table, base: Table, tongue: Tongue) -> RowsMade:
    """Work out one [[table]]; keys that its columns lack come from the `base` of its sheet."""
    meanings = _with_keys(table, base)
    pairs = _side_pairs(meanings)
    headers = {item.family.template: _header(item.family, pairs) for item in meanings}
    own = {item.reading.variable for item in meanings if item.reading.how != "facts"}
    by_side = bool(pairs)
    lines: list[Line] = []
    for item in meanings:
        if not (by_side and item.reading.variable == "side"):
            lines += lines_of(item, tongue, headers[item.family.template])
    lines += [line for item in table.instead
              for line in lines_of(item, tongue, _header(item.family, pairs))]  # fmt: skip
    lines += _mode(table, meanings, tongue)
    taken = own | {line.variable for line in lines}
    lists: list[ListDraft] = []
    for item in meanings:
        if item.reading.how == "facts":
            drafted = draft_list(item, tongue, headers[item.family.template], elsewhere=taken,
                                 other_modes="recheck_mode" in taken)  # fmt: skip
            taken |= set(drafted.variables)
            lists.append(drafted)
    if table.context == "rechecks" and "recheck_mode" not in taken:
        lines.append(Line(variable="recheck_mode", header="", proved=False,
                          keys={"value": quoted("operating_clinic")},
                          evidence="no column says how the animal was seen"))  # fmt: skip
    named = taken | {name for item in lists for name in item.variables}
    return RowsMade(
        table=table, make=_make(table, named, tongue), fills=table.context == "follow_up",
        where=_where(table, base), blocks=_blocks(table, meanings, pairs, headers),
        lines=tuple(_inheriting(lines, table, by_side=by_side)), lists=tuple(lists),
        doubts=tuple(_doubts(table, meanings, lines, lists, by_side=by_side)),
    )  # fmt: skip


def _with_keys(table: Table, base: Table) -> list[Meaning]:
    meanings = list(table.meanings)
    for name in ("side", "local_stifle", "local_animal"):
        key = base.meaning(name)
        if key and table is not base and not table.meaning(name) and not table.event[0]:
            meanings.insert(0, key)
    return sorted(meanings, key=lambda item: item.reading.variable not in ("local_animal",))


def _side_pairs(meanings: Sequence[Meaning]) -> list[tuple[str, str]]:
    pairs = [item.family.sides for item in meanings if len(item.family.sides) == 2]
    return list(dict.fromkeys((pair[0], pair[1]) for pair in pairs))


def _header(family: Family, pairs: Sequence[tuple[str, str]]) -> str:
    """Write the header with the name of its pair of side words: {s}, {s2}, …."""
    if len(family.sides) != 2:
        return family.template
    place = pairs.index((family.sides[0], family.sides[1]))
    return family.template.replace("{s}", _mark(place))


def _mark(place: int) -> str:
    return "{s}" if not place else f"{{s{place + 1}}}"


def _blocks(
    table: Table, meanings: Sequence[Meaning], pairs: Sequence[tuple[str, str]],
    headers: Mapping[str, str],
) -> tuple[str, ...]:  # fmt: skip
    by_name = {item.reading.variable: headers[item.family.template] for item in meanings}
    present: list[str] = []
    for group in _PRESENT.get(table.context, ()):
        present = present or [by_name[name] for name in group if name in by_name]
    keys: dict[str, str] = {}
    if table.repeat:
        keys["repeat"] = str(table.repeat)
    filled = {"present": "[" + ", ".join(map(quoted, present)) + "]"} if present else {}
    name = f"{_ONE.get(table.context, '')} {{n}}" if table.repeat else ""
    if not pairs:
        return (inline({"name": quoted(name), **keys, **filled}),) if table.repeat else ()
    blocks: list[str] = []
    for place, side in enumerate(("left", "right")):
        words = {_mark(at).strip("{}"): quoted(pair[place]) for at, pair in enumerate(pairs)}
        blocks.append(inline({
            "name": quoted(f"{name} {side}".strip()), **keys, "words": inline(words),
            "values": inline({"side": quoted(side)}), **filled,
        }))  # fmt: skip
    return tuple(blocks)


def _where(table: Table, base: Table) -> tuple[str, ...]:
    header, texts = table.event
    if header:
        return (inline({"column": quoted(header), "is": listed(texts)}),)
    if table.repeat:
        return ()
    for group in _PRESENT.get(table.context, ()):
        for name in group:
            found = table.meaning(name)
            if found and (table is not base or name == "complication_type"):
                full = found.counts.total() == table.grid.n_rows
                if not full:
                    return (inline({"column": quoted(found.family.template), "filled": "true"}),)
    return ()


def _make(table: Table, named: set[str], tongue: Tongue) -> tuple[str, ...]:
    if table.context == "follow_up":
        return ("stifles", "animals") if "death_cause" in named else ("stifles",)
    made = [
        name for name in CONTEXTS[table.context]
        if name == table.context or any(
            item in tongue.variables and tongue.variables[item].table == name for item in named
        )
    ]  # fmt: skip
    return tuple(made)


def _mode(table: Table, meanings: Sequence[Meaning], tongue: Tongue) -> list[Line]:
    """Read how an animal was seen from the kind of event, where no column says it."""
    named = {item.reading.variable for item in meanings}
    header, texts = table.event
    if table.context != "rechecks" or not header or "recheck_mode" in named:
        return []
    variable = tongue.variables["recheck_mode"]
    guesses = guess_codes(Counter(texts), variable, tongue.vocabulary, language=tongue.language)
    codes = tuple(
        item if item.code else replace(item, code="operating_clinic", evidence="not said otherwise")
        for item in guesses
    )
    return [Line(variable="recheck_mode", header=header, keys={"column": quoted(header)},
                 codes=codes, proved=False, evidence="the kind of event")]  # fmt: skip


def _inheriting(lines: Sequence[Line], table: Table, *, by_side: bool) -> list[Line]:
    """Point out blank sides: they are inherited only if the mapping says so."""
    side = table.meaning("side")
    if by_side or side is None or table.context not in ("rechecks", "complications", "revisions"):
        return list(lines)
    if table.repeat:
        return list(lines)
    blank = side.family.n_cells - side.family.counts.total()
    if table.event[0] or not blank:
        return list(lines)
    note = f"; {blank} blank: inherit = true takes the only operated side"
    return [replace(line, evidence=line.evidence + note) if line.variable == "side" else line
            for line in lines]  # fmt: skip


def _doubts(
    table: Table, meanings: Sequence[Meaning], lines: Sequence[Line],
    lists: Sequence[ListDraft], *, by_side: bool,
) -> list[ToConfirm]:  # fmt: skip
    title = f"{table.context} of {table.grid.name}"
    found: list[ToConfirm] = []
    named = {line.variable for line in lines}
    if "local_animal" not in named and "local_stifle" not in named:
        found.append(_doubt(f"{title}: the animal", "", "no column was recognised as its code",
                            "Write local_animal = the header of that column."))  # fmt: skip
    if not by_side and not {"side", "local_stifle"} & named:
        found.append(_doubt(f"{title}: the side", "", "no column was recognised as the side",
                            "Write side = the header of that column."))  # fmt: skip
    by_name = {item.reading.variable: item for item in meanings}
    for line in lines:
        if not line.proved:
            target = line.header or "no column"
            found.append(_doubt(f"{title}: {line.variable}", f"from {target}", line.evidence,
                                f"Check the line {line.variable}."))  # fmt: skip
        if line.variable == "recheck_day" and "nominal_days" in line.keys:
            found.append(_doubt(f"{title}: from which operation its times are counted",
                                "this stifle's own (counted_from = \"this\")",
                                "the export does not say it",
                                'Ask the clinic; "first" is the animal\'s first.'))  # fmt: skip
    found += [item for drafted in lists for item in _list_doubts(title, drafted, by_name)]
    worded = [line for line in lines
              if any(item.code and not item.proved for item in line.codes)]  # fmt: skip
    if worded:
        told = ", ".join(map(_counted, worded))
        found.append(_doubt(f"{title}: code lists", told, "trade words of four languages; each "
                            "text stands with its count in the list of its variable",
                            "Read every list once; a wrong code is a wrong result."))  # fmt: skip
    return found


def _counted(line: Line) -> str:
    """Count the texts of a list, and name those that only hold a word of the trade."""
    told = sum(bool(item.code) for item in line.codes)
    unsure = [
        shown(item.text)
        for item in line.codes
        if item.code and not item.proved and not item.evidence.startswith("trade word")
    ]
    return f"{line.variable} ({told}" + (f"; unsure: {', '.join(unsure)}" if unsure else "") + ")"


def _list_doubts(title: str, drafted: ListDraft, by_name: Mapping[str, Meaning]) -> list[ToConfirm]:
    title_of = re.sub(r"\s+", " ", drafted.header)
    score = by_name[drafted.meaning].header_score if drafted.meaning in by_name else 0.0
    found = [_doubt(f'{title}: list in column "{title_of}"', f"sets {', '.join(drafted.variables)}",
                    drafted.evidence + ("" if score >= 0.8 else "; the header is not sure"),
                    "Read every line of words once; mend what is wrong.")]  # fmt: skip
    if drafted.silence:
        found.append(_doubt(f'{title}: what "{title_of}" says by not naming it',
                            "a procedure that is not named was not done", "usual for such lists",
                            "Ask the clinic, or take lines out of otherwise."))  # fmt: skip
    return found


def _doubt(what: str, guess: str, evidence: str, do: str) -> ToConfirm:
    return ToConfirm(what=what, guess=guess, evidence=evidence, do=do)
