"""The head of a drafted mapping: facts of the clinic, and the way it writes."""

from collections.abc import Sequence

from pipeline.draft.doubts import date_doubts, general_doubts
from pipeline.draft.draft import Draft
from pipeline.draft.toml_text import inline, quoted, remark, to_confirm
from pipeline.draft.units import GAUGE_MM
from schemas.codebook import Variable, of_table


def clinic_lines(draft: Draft, codebook: Sequence[Variable]) -> list[str]:
    """Write [clinic]: dates from the export, the rest for a person."""
    lines = [line for item in general_doubts(draft)[:1] for line in to_confirm(item)]
    known: dict[str, str] = {"dates_shifted": "false"}
    if draft.operated:
        first, last = draft.operated
        known |= {"accrual_start": first.isoformat(), "accrual_end": last.isoformat()}
    if draft.latest:
        known["data_lock_date"] = draft.latest.isoformat()
    lines.append("[clinic]")
    for variable in of_table(codebook, "clinics"):
        if variable.name == "clinic_id":
            continue
        choices = f": {', '.join(variable.codes)}" if variable.kind == "category" else ""
        note = f"{variable.label}{choices}"
        if variable.name in known:
            why = " (taken from the dates in the export)" if "-" in known[variable.name] else ""
            lines.append(f"{variable.name} = {known[variable.name]}   " + remark(note + why))
        else:
            lines.append(remark(f'{variable.name} = ""   # {note}'))
    return [*lines, ""]


def grammar_lines(draft: Draft) -> list[str]:
    """Write how the clinic writes numbers, dates, times, gauges and missing values."""
    marks = draft.tongue.marks
    lines = [line for item in general_doubts(draft)[1:] for line in to_confirm(item)]
    lines += ["[numbers]", f"decimal = {quoted(marks.decimal)}   " + remark(marks.guess.evidence)]
    if marks.group:
        lines.append(f"group = {quoted(marks.group)}")
    if draft.dates:
        lines += [
            "",
            *(line for item in date_doubts(draft) for line in to_confirm(item)),
            "[dates]",
        ]
        forms = ", ".join(quoted(item.form) for item in draft.dates)
        lines.append(f"formats = [{forms}]")
        lines += [remark(f"{item.form}: {item.n} cells; {item.evidence}") for item in draft.dates]
        months = {name: str(n) for item in draft.dates for name, n in item.months.items()}
        lines += [f"months = {inline(months)}"] if months else []
    if draft.durations:
        lines += ["", "[durations]"]
        for unit in dict.fromkeys(draft.durations.values()):
            words = [word for word, told in draft.durations.items() if told == unit]
            lines.append(f"{unit} = [{', '.join(map(quoted, words))}]")
    if draft.gauges:
        lines += ["", "[gauge_mm]"]
        for item in draft.gauges:
            known = f"{item} = {GAUGE_MM.get(item)}"
            asked = remark(f"{item} = 0.0   # mm, as the clinic says")
            lines.append(known if item in GAUGE_MM else asked)
    if draft.missing:
        lines += ["", "[missing]"]
        for reason in dict.fromkeys(reason for reason, _ in draft.missing.values()):
            words = {text: n for text, (told, n) in draft.missing.items() if told == reason}
            counts = ", ".join(f"{quoted(text)} in {n} cells" for text, n in words.items())
            lines.append(f"{reason} = [{', '.join(map(quoted, words))}]   " + remark(counts))
    return [*lines, ""]
