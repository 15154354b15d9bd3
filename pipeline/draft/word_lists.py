"""Cells that say several things, as [[table.list]] blocks."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.draft.columns import Meaning
from pipeline.draft.facts import Fact
from pipeline.draft.readings import Tongue
from pipeline.draft.toml_text import LONGEST_TEXT, code, inline, quoted, remark, rows, shown

# What a list of procedures says by not naming it.
_SILENCE: Mapping[str, str] = {
    "sulcoplasty_type": "none", "ttt_done": "false", "medial_release": "none",
    "lateral_imbrication": "false", "antirotational_suture": "false", "femoral_osteotomy": "none",
    "cruciate_procedure": "none",
}  # fmt: skip
_WITHOUT_TTT = ("ttt_direction", "ttt_fixation", "tension_band_done", "kwire_count")


@dataclass(frozen=True, slots=True, kw_only=True)
class ListDraft:
    """One [[table.list]]: its lines, the variables it sets, what is guessed in it."""

    header: str
    meaning: str
    lines: tuple[str, ...]
    variables: tuple[str, ...]
    unknown: tuple[str, ...]
    silence: bool
    evidence: str


def draft_list(
    meaning: Meaning, tongue: Tongue, header: str, *, elsewhere: Collection[str],
    other_modes: bool,
) -> ListDraft:  # fmt: skip
    """Write one list; variables that stand `elsewhere` in the table are left to those columns.

    Parameters
    ----------
    other_modes
        Whether something else says how a recheck was done; if not, items that do not say it
        are visits to the operating clinic.
    """
    facts = meaning.reading.facts
    assert facts is not None
    items = [_kept(item, elsewhere) for item in facts.items]
    apart = meaning.reading.variable == "technique" and any(
        "tension_band_done" in item.sets and "ttt_fixation" not in item.sets for item in items
    )
    if apart:
        items = [_without_fixation(item) for item in items]
    written = _written(items)
    named = {name for item in written for name in (*item.sets, *item.missing)}
    if "recheck_mode" in named and not other_modes:
        items = [_in_clinic(item) for item in items]
    lines = ["[[table.list]]", f"column = {quoted(header)}   " + remark(meaning.reading.evidence)]
    if facts.separators:
        lines.append("separators = [" + ", ".join(map(quoted, facts.separators)) + "]")
    lines += ["words = [", *_words(items, tongue), "]"]
    silence = meaning.reading.variable == "technique"
    rules = _otherwise(named, apart=apart, tongue=tongue) if silence else []
    lines += rules
    if any("sets = { ttt_fixation" in rule for rule in rules):
        named.add("ttt_fixation")
    return ListDraft(
        header=header, meaning=meaning.reading.variable, lines=tuple(lines),
        variables=tuple(sorted(named)), silence=silence, evidence=meaning.reading.evidence,
        unknown=tuple(item.text for item in items if not item.told and not item.reason),
    )  # fmt: skip


def _written(items: Sequence[Fact]) -> list[Fact]:
    """Take the items that stand as words of the list; the others stand behind # and set nothing."""
    seen: set[str] = set()
    kept: list[Fact] = []
    for item in items:
        if not _is_left(item, seen):
            seen.add(item.text.lower())
            kept.append(item)
    return kept


def _is_left(item: Fact, seen: Collection[str]) -> bool:
    return bool(
        item.reason or item.left or len(item.text) > LONGEST_TEXT or item.text.lower() in seen
    )


def _kept(item: Fact, elsewhere: Collection[str]) -> Fact:
    return replace(
        item, sets={name: text for name, text in item.sets.items() if name not in elsewhere},
        missing={name: why for name, why in item.missing.items() if name not in elsewhere},
        left=item.left if item.left or item.told or item.reason else (item.text,),
    )  # fmt: skip


def _without_fixation(item: Fact) -> Fact:
    if item.sets.get("ttt_fixation") != "k_wire":
        return item
    return replace(item, sets={k: v for k, v in item.sets.items() if k != "ttt_fixation"})


def _in_clinic(item: Fact) -> Fact:
    if item.reason or "recheck_mode" in item.sets or not item.told:
        return item
    return replace(item, sets={**item.sets, "recheck_mode": "operating_clinic"})


def _words(items: list[Fact], tongue: Tongue) -> list[str]:
    lines: list[str] = []
    seen: set[str] = set()
    for item in items:
        if item.reason:
            lines.append("    " + remark(f"{shown(item.text)}: {rows(item.n)}, {item.reason}"))
            continue
        if _is_left(item, seen):
            why = f"not understood: {' '.join(item.left)}" if item.left else "too long, or twice"
            told = f"{rows(item.n)}; {why}"
            entry = f"{{ is = {quoted(item.text)}, sets = {{ }} }},   # {told}"
            short = len(item.text) <= LONGEST_TEXT
            lines.append("    " + remark(entry if short else f"{shown(item.text)}: {told}"))
            continue
        seen.add(item.text.lower())
        keys = {"is": quoted(item.text)}
        if item.sets:
            keys["sets"] = inline({name: code(text, tongue.variables.get(name))
                                   for name, text in item.sets.items()})  # fmt: skip
        if item.missing:
            keys["missing"] = inline({name: quoted(why) for name, why in item.missing.items()})
        lines.append(f"    {inline(keys)},   " + remark(rows(item.n)))
    return lines


def _otherwise(named: set[str], *, apart: bool, tongue: Tongue) -> list[str]:
    """Write what silence means; see [[to_confirm]]."""
    silent = {name: code(text, tongue.variables.get(name)) for name, text in _SILENCE.items()
              if name in named}  # fmt: skip
    rules = [f"{{ sets = {inline(silent)} }}"] if silent else []
    if {"ttt_done", "tension_band_done"} <= named:
        rules.append("{ where = { ttt_done = true }, sets = { tension_band_done = false } }")
    if apart and {"ttt_done", "kwire_count"} <= named:
        rules.append("{ where = { ttt_done = true, tension_band_done = true }, "
                     'sets = { ttt_fixation = "k_wire_tension_band" } }')  # fmt: skip
        rules.append("{ where = { ttt_done = true, kwire_count = [1, 2, 3, 4] }, "
                     'sets = { ttt_fixation = "k_wire" } }')  # fmt: skip
    if "ttt_done" in named:
        gone = {name: quoted("not_applicable") for name in _WITHOUT_TTT
                if name in named or (apart and name == "ttt_fixation")}  # fmt: skip
        if gone:
            rules.append(f"{{ where = {{ ttt_done = false }}, missing = {inline(gone)} }}")
    if {"ttt_fixation", "kwire_count"} <= named:
        rules.append('{ where = { ttt_fixation = "screw" }, '
                     'missing = { kwire_count = "not_applicable" } }')  # fmt: skip
    if not rules:
        return []
    return [remark("What the list says by not naming it; taken in this order."), "otherwise = [",
            *(f"    {rule}," for rule in rules), "]"]  # fmt: skip
