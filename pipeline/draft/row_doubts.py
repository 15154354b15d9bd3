"""What a person must settle about one [[table]]."""

import re
from collections.abc import Collection, Mapping, Sequence

from pipeline.draft.columns import Meaning
from pipeline.draft.lines import Line
from pipeline.draft.table import Table
from pipeline.draft.toml_text import quoted, shown
from pipeline.draft.value_doubts import has_scale, value_doubts
from pipeline.draft.word_lists import ListDraft
from pipeline.intake.mapping_confirm import ToConfirm

# Without these no row of its kind can be placed, or says anything.
_MOST = 30  # texts of one variable that are named
_NEEDED: Mapping[str, tuple[str, ...]] = {
    "stifles": ("surgery_date",), "rechecks": ("recheck_day", "patella_grade"),
    "complications": ("detected_day", "complication_type"),
    "revisions": ("revision_day", "revision_reason"),
}  # fmt: skip


def row_doubts(
    table: Table, meanings: Sequence[Meaning], lines: Sequence[Line],
    lists: Sequence[ListDraft], *, by_side: bool, language: str,
) -> list[ToConfirm]:  # fmt: skip
    """Gather what is not proved of one [[table]]."""
    title = f"{table.context} of {table.grid.name}"
    found = [_doubt(f"{title}: repeated columns", "", note, "Compare with the export's header.")
             for note in table.notes]  # fmt: skip
    named = {line.variable for line in lines}
    found += _keys(title, named, by_side=by_side)
    told = named | {name for drafted in lists for name in drafted.variables}
    found += [_lacking(title, name) for name in _NEEDED.get(table.context, ()) if name not in told]
    valued = value_doubts(title, meanings, language)
    sure = {item.reading.variable for item in meanings if item.header_score >= 0.8}
    found += _lines(title, lines, {"lameness_scale", *(sure & set(valued))})
    by_name = {item.reading.variable: item for item in meanings}
    found += [item for drafted in lists for item in _list_doubts(title, drafted, by_name)]
    found += [*valued.values(), *_joins(title, meanings)]
    scaled = {item.reading.variable for item in meanings if has_scale(item)}
    found += _uncoded(title, [line for line in lines if line.variable not in {"breed", *scaled}])
    worded = [line for line in lines
              if any(item.code and not item.proved for item in line.codes)]  # fmt: skip
    if worded:
        told_lists = ", ".join(map(_counted, worded))
        found.append(_doubt(f"{title}: code lists", told_lists, "trade words of six languages; "
                            "each text stands with its count in the list of its variable",
                            "Read every list once; a wrong code is a wrong result."))  # fmt: skip
    return found


def _keys(title: str, named: set[str], *, by_side: bool) -> list[ToConfirm]:
    """Ask for the columns of animal and side where none was recognised."""
    found: list[ToConfirm] = []
    if not {"local_animal", "local_stifle"} & named:
        found.append(_doubt(f"{title}: the animal", "", "no column was recognised as its code",
                            "Write local_animal = the header of that column."))  # fmt: skip
    if not by_side and not {"side", "local_stifle"} & named:
        found.append(_doubt(f"{title}: the side", "", "no column was recognised as the side",
                            "Write side = the header of that column."))  # fmt: skip
    return found


def _lacking(title: str, name: str) -> ToConfirm:
    places = name.endswith(("_day", "_date"))
    lost = "no row can be placed" if places else "such a row says little"
    do = _how_to_write(name) if places else (
        f'Write {name} = "…" with the header of that column, or delete this block if the clinic '
        "does not record it.")  # fmt: skip
    return _doubt(f"{title}: {name}", "", f"no column was recognised as it; without it {lost}", do)


def _lines(title: str, lines: Sequence[Line], asked: Collection[str]) -> list[ToConfirm]:
    """Ask about each line that is not proved, but for variables that are asked about otherwise."""
    found: list[ToConfirm] = []
    for line in lines:
        if not line.proved and line.variable not in asked:
            guess = f"from {line.header}" if line.header else line.keys.get("value", "").strip('"')
            found.append(_doubt(f"{title}: {line.variable}", guess, line.evidence,
                                f"Check the line {line.variable}."))  # fmt: skip
        if line.variable == "recheck_day" and "nominal_days" in line.keys:
            found.append(_doubt(f"{title}: from which operation its times are counted",
                                "this stifle's own (counted_from = \"this\")",
                                "the export does not say it",
                                'Ask the clinic; "first" is the animal\'s first.'))  # fmt: skip
    return found


def _how_to_write(name: str) -> str:
    """Say what to write for a variable that no column was recognised as."""
    if name.endswith("_day"):
        dated, counted = '{ column = "…", as = "date" }', '{ column = "…", unit = "weeks" }'
        return (f"Write {name} = {dated} with the header of that column where its cells are "
                f"dates, {name} = {counted} where they count weeks since the "
                "operation.")  # fmt: skip
    return f'Write {name} = "…" with the header of that column.'


def _joins(title: str, meanings: Sequence[Meaning]) -> list[ToConfirm]:
    """Ask about columns that name one kind, or of which several say one variable."""
    return [
        _doubt(f"{title}: {item.reading.variable}", "yes and no are left without code",
               f"{' and '.join(map(quoted, item.reading.joins))}: a \"no\" speaks of one kind "
               "alone, and several such columns may have to be joined",
               f"Write {item.reading.variable} = {item.reading.example}, or what a yes and a no "
               "mean if it is the only such column.")
        for item in meanings if item.reading.joins
    ]  # fmt: skip


def _uncoded(title: str, lines: Sequence[Line]) -> list[ToConfirm]:
    """Name every text that got no code."""
    left = [
        f"{line.variable}: " + ", ".join(f"{shown(item.text)} ({item.n})" for item in texts[:_MOST])
        + (f" and {len(texts) - _MOST} more" if len(texts) > _MOST else "")
        for line in lines
        if (texts := [item for item in line.codes if not item.code and not item.reason])
    ]  # fmt: skip
    if not left:
        return []
    return [_doubt(f"{title}: texts without code", "; ".join(left), "no word of the trade that is "
                   "known, or not every word of the text is explained",
                   "Write the code of each where its text stands behind #, or leave it to the "
                   "queries.")]  # fmt: skip


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
                    drafted.evidence + ("" if score >= 0.8 else "; the header is not sure")
                    + (f"; unsure: {', '.join(map(shown, drafted.unknown))}"
                       if drafted.unknown else ""),
                    "Read every line of words once; mend what is wrong.")]  # fmt: skip
    if drafted.silence:
        found.append(_doubt(f'{title}: what "{title_of}" says by not naming it',
                            "a procedure that is not named was not done", "usual for such lists",
                            "Ask the clinic, or take lines out of otherwise."))  # fmt: skip
    return found


def _doubt(what: str, guess: str, evidence: str, do: str) -> ToConfirm:
    return ToConfirm(what=what, guess=guess, evidence=evidence, do=do)
