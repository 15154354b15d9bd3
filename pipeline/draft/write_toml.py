"""The draft as a mapping file: what is proved stands, what is not stands under [[to_confirm]]."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from pipeline.draft.codes import CodeGuess
from pipeline.draft.doubts import file_doubts
from pipeline.draft.draft import Draft
from pipeline.draft.lines import Line
from pipeline.draft.rows_made import RowsMade
from pipeline.draft.tables import SheetDraft
from pipeline.draft.toml_text import (
    LONGEST_TEXT,
    code,
    inline,
    key,
    listed,
    quoted,
    remark,
    rows,
    shown,
    to_confirm,
)
from pipeline.draft.write_head import clinic_lines, grammar_lines
from pipeline.intake.mapping_schema import SCHEMA_LINE
from schemas.codebook import Variable, codebook_version, read_codebook

Shared = Mapping[str, Mapping[str, CodeGuess]]


def mapping_text(draft: Draft, codebook: Sequence[Variable]) -> str:
    """Write the whole file."""
    shared = shared_lists(draft)
    lines = [
        SCHEMA_LINE,
        remark(f"Drafted from the export of {draft.clinic_id}. Behind each # stands why a guess "
               "was made, and how many cells"),
        remark("it concerns. The mapping runs once every [[to_confirm]] block was settled and "
               f"deleted. {draft.clinic_id}.map.html shows the same."),
        "", f"codebook_version = {quoted(codebook_version(read_codebook()))}", "",
    ]  # fmt: skip
    lines += clinic_lines(draft, codebook)
    lines += grammar_lines(draft)
    for sheet in draft.sheets:
        lines += _file(sheet, draft)
    lines += _codes(shared, draft)
    for made in draft.made:
        lines += _table(made, draft, shared)
    if not any(
        line.variable == "end_of_followup_day" for made in draft.made for line in made.lines
    ):
        lines += [remark("No column gives the end of follow-up. Where one does, write "
                         "end_of_followup_day"),
                  remark('= { column = "…", as = "date" } in [table.columns] of the operations. To '
                         "take the latest event instead:"),
                  remark("[when_blank.stifles]"),
                  remark('end_of_followup_day = "latest_event"')]  # fmt: skip
    return "\n".join(lines).rstrip() + "\n"


def shared_lists(draft: Draft) -> Shared:
    """Gather the lists that several columns share: sides, yes and no."""
    found: dict[str, dict[str, CodeGuess]] = {}
    for made in draft.made:
        for line in made.lines:
            codes = found.setdefault(line.shared, {}) if line.shared else {}
            for item in line.codes:
                known = codes.get(item.text)
                n = item.n + (known.n if known else 0)
                codes[item.text] = CodeGuess(
                    text=item.text, n=n, code=item.code or (known.code if known else ""),
                    evidence=item.evidence, reason=item.reason,
                )  # fmt: skip
    return found


def _file(sheet: SheetDraft, draft: Draft) -> list[str]:
    grid, raw = sheet.grid, sheet.grid.raw
    lines = [line for item in file_doubts(sheet, draft) for line in to_confirm(item)]
    lines += ["[[file]]", f"name = {quoted(grid.name)}",
              f"path = {quoted(_inside(raw.path, draft.clinic_id))}"]  # fmt: skip
    if raw.sheet:
        lines.append(f"sheet = {quoted(raw.sheet)}")
    for guess in raw.dialect.guesses:
        usual = {"encoding": "utf-8", "delimiter": ",", "quote": '"'}[guess.what]
        if guess.value != usual:
            lines.append(f"{guess.what} = {quoted(guess.value)}   " + remark(guess.evidence))
        else:
            lines.append(remark(f"{guess.what}: {guess.evidence}"))
    header = grid.header
    if header.header_row > 1 or header.header_rows > 1:
        lines.append(f"header_row = {header.header_row}   " + remark(grid.guess.evidence))
    if header.header_rows > 1:
        lines.append(f"header_rows = {header.header_rows}")
        lines += ["header_fill = true"] if header.header_fill else []
    lines += ['repeated_headers = "number"'] if grid.repeated else []
    lines += ['hidden_rows = "read"'] if raw.hidden[0] else []
    lines += ['hidden_columns = "read"'] if raw.hidden[1] else []
    lines += (
        ['merged_cells = "first"'] if any(a > header.header_row for a, *_ in raw.merged) else []
    )
    if sheet.comments:
        names = [column.header for item in sheet.comments for column in item.columns]
        lines.append(f"ignore = [{', '.join(map(quoted, names))}]   " + remark("free text"))
    lines += _set_aside(sheet, draft)
    for item in sheet.identifiers:
        for column in item.columns:
            lines.append(remark(f"{quoted(column.header)} looks like {item.identifier}: it is not "
                                "read, nor shown. Ask the clinic to leave it out."))  # fmt: skip
    for item in sheet.unknown:
        lines.append(remark(f"not recognised: {quoted(item.template)}, {item.counts.total()} of "
                            f"{item.n_cells} cells filled (see the page)"))  # fmt: skip
    return [*lines, ""]


def _set_aside(sheet: SheetDraft, draft: Draft) -> list[str]:
    aside = draft.aside[sheet.grid.name]
    if not aside:
        return []
    lines = ["set_aside = ["]
    for item in aside:
        keys = {"column": quoted(item.column), "is": quoted(item.text),
                "reason": quoted(item.reason)}  # fmt: skip
        lines.append(f"    {inline(keys)},   " + remark(rows(item.n)))
    return [*lines, "]"]


def _inside(path: Path, clinic_id: str) -> str:
    """Give the path inside the clinic's folder of exports."""
    parts = path.parts
    for at in range(len(parts) - 2, 0, -1):
        if parts[at - 1 : at + 1] == ("exports", clinic_id):
            return "/".join(parts[at + 1 :])
    return path.name


def _codes(shared: Shared, draft: Draft) -> list[str]:
    lines: list[str] = []
    for name, codes in sorted(shared.items()):
        lines += [remark("Shared by several columns."), f"[codes.{name}]"]
        variable = draft.tongue.variables["side" if name == "side" else "ttt_done"]
        lines += _code_lines(tuple(codes.values()), variable)
        lines.append("")
    return lines


def _table(made: RowsMade, draft: Draft, shared: Shared) -> list[str]:
    lines = [line for item in made.doubts for line in to_confirm(item)]
    lines += [remark(f"{made.table.context.replace('_', ' ')}: {made.table.why}"), "[[table]]",
              f"{'fills' if made.fills else 'make'} = {listed(made.make)}",
              f"from = {quoted(made.table.grid.name)}"]  # fmt: skip
    if made.where:
        lines.append(f"where = [{', '.join(made.where)}]")
    if made.blocks:
        lines += ["block = [", *(f"    {block}," for block in made.blocks), "]"]
    lines += ["", "[table.columns]", *_plain(made, shared)]
    for line in made.lines:
        if line.codes and not line.shared:
            variable = draft.tongue.variables.get(line.variable)
            lines += ["", f"[table.columns.{line.variable}]   " + remark(_doubted(line))]
            lines += [f"{name} = {value}" for name, value in line.keys.items()]
            lines += [f"[table.columns.{line.variable}.codes]"]
            lines += _code_lines(line.codes, variable)
            lines += [remark(f"to join: {line.joined}")] if line.joined else []
    for drafted in made.lists:
        lines += ["", *drafted.lines]
    return [*lines, ""]


def _plain(made: RowsMade, shared: Shared) -> list[str]:
    """Write the variables that need no list of their own; two sources of one become a list."""
    lines: list[str] = []
    by_name: dict[str, list[Line]] = {}
    for line in made.lines:
        if not line.codes or line.shared:
            by_name.setdefault(line.variable, []).append(line)
    for name, group in by_name.items():
        values = [
            inline({**line.keys, "codes": quoted(line.shared)}) if line.shared else line.value
            for line in group
        ]
        value = values[0] if len(values) == 1 else f"[{', '.join(values)}]"
        lines.append(f"{name} = {value}   " + remark(" | ".join(map(_doubted, group))))
    return lines


def _doubted(line: Line) -> str:
    return line.evidence if line.proved else f"? {line.evidence}"


def _code_lines(codes: Sequence[CodeGuess], variable: Variable | None) -> list[str]:
    lines: list[str] = []
    for item in codes:
        if item.code and len(item.text) <= LONGEST_TEXT:
            value = code(item.code, variable)
            if item.note:
                value = inline({"is": value, "note": quoted(item.note)})
            lines.append(f"{key(item.text)} = {value}   " + remark(f"{rows(item.n)}; "
                         f"{item.evidence}"))  # fmt: skip
        elif item.reason:
            lines.append(remark(f"{shown(item.text)}: {rows(item.n)}, {item.reason}"))
        else:
            told = f"{rows(item.n)}; {item.evidence}"
            short = len(item.text) <= LONGEST_TEXT
            entry = f'{quoted(item.text)} = ""   # {told}'
            lines.append(remark(entry if short else f"{shown(item.text)}: {told}"))
    return lines
