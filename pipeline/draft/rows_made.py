"""One kind of row as a [[table]]: its blocks and conditions, its variables, what is in doubt."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.draft.codes import guess_codes, missing_reason
from pipeline.draft.columns import CONTEXTS, Meaning
from pipeline.draft.families import Family
from pipeline.draft.lines import Line, lines_of
from pipeline.draft.places import runs
from pipeline.draft.readings import Tongue, yes_or_no
from pipeline.draft.row_doubts import row_doubts
from pipeline.draft.table import Table
from pipeline.draft.toml_text import inline, listed, quoted
from pipeline.draft.vocabulary import meant
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
        where=_where(table, base, tongue), blocks=_blocks(table, meanings, pairs, headers),
        lines=tuple(_inheriting(lines, table, by_side=by_side)), lists=tuple(lists),
        doubts=tuple(row_doubts(table, meanings, lines, lists, by_side=by_side,
                                language=tongue.language)),
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
        named = [by_name[name] for name in group if name in by_name]
        present = present or named if pairs or table.context == "stifles" else present + named
    in_order = runs(table.labels)
    keys = {"repeat": str(table.repeat)} if table.repeat and in_order else {}
    filled = {"present": "[" + ", ".join(map(quoted, present)) + "]"} if present else {}
    told = table.labels if table.repeat and not in_order else ("{n}" if table.repeat else "",)
    sides = enumerate(("left", "right") if pairs else ("",))
    blocks: list[str] = []
    for place, side in sides:
        marks = {_mark(at).strip("{}"): quoted(pair[place]) for at, pair in enumerate(pairs)}
        for label in told:
            one = f"{_ONE.get(table.context, '')} {label}" if label else ""
            words = marks | ({} if label in ("", "{n}") else {"n": quoted(label)})
            blocks.append(inline({
                "name": quoted(f"{one} {side}".strip()), **keys,
                **({"words": inline(words)} if words else {}),
                **({"values": inline({"side": quoted(side)})} if side else {}), **filled,
            }))  # fmt: skip
    return tuple(blocks) if table.repeat or pairs else ()


def _where(table: Table, base: Table, tongue: Tongue) -> tuple[str, ...]:
    header, texts = table.event
    if header:
        return (inline({"column": quoted(header), "is": listed(texts)}),)
    if table.repeat:
        return ()
    for group in _PRESENT.get(table.context, ()):
        for name in group:
            found = table.meaning(name)
            if found and (table is not base or name == "complication_type"):
                return _said(found, table, tongue)
    return ()


def _said(found: Meaning, table: Table, tongue: Tongue) -> tuple[str, ...]:
    """Take only rows where the column says something other than "none" or a dash."""
    column = quoted(found.family.template)
    none = sorted(
        text for text in found.counts
        if yes_or_no(text, tongue) == "false" or not text.strip("-–—")
        or missing_reason(text, tongue.language) == "not_applicable"
    )  # fmt: skip
    blank = found.counts.total() < table.grid.n_rows
    where = [inline({"column": column, "filled": "true"})] if blank else []
    where += [inline({"column": column, "is_not": listed(none)})] if none else []
    return tuple(where)


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
        replace(item, code="operating_clinic", evidence="not said otherwise")
        if not item.code and meant(item.text, tongue.vocabulary.tables, tongue.language)
        else item
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
