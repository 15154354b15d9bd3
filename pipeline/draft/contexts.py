"""Which kind of row a sheet, a group of repeated columns, or an event is."""

import re
from collections.abc import Mapping, Sequence

from pipeline.draft.columns import Meaning, header_meanings, meanings_of
from pipeline.draft.dates import date_share
from pipeline.draft.families import Family
from pipeline.draft.header import Grid
from pipeline.draft.plain import joined, tokens
from pipeline.draft.readings import Tongue
from pipeline.draft.titles import table_of, title_table
from pipeline.draft.vocabulary import LANGUAGES, read_vocabulary

_MARKS = " ._-:"
_OTHERS: Mapping[str, tuple[str, ...]] = {
    "stifles": ("rechecks", "complications", "revisions"), "rechecks": ("complications",),
    "complications": ("revisions",), "revisions": (), "animals": (),
}  # fmt: skip

_DAYS: Mapping[str, str] = {"rechecks": "recheck_day", "complications": "detected_day",
                            "revisions": "revision_day"}  # fmt: skip


def base_context(grid: Grid, families: Sequence[Family], tongue: Tongue) -> tuple[str, str]:
    """Say what a row of a sheet is by default, and why."""
    title = grid.raw.sheet or grid.raw.path.stem
    language, phrases = tongue.language, tongue.vocabulary.tables
    named = table_of(re.sub(r"[_-]+", " ", title), language, phrases)
    best = {context: _likeliest(families, context, tongue) for context in _OTHERS}
    weight = {context: sum(item.score for item in found if item.header_score >= 0.6)
              for context, found in best.items()}  # fmt: skip
    top = max(weight, key=lambda name: weight[name])
    if weight["stifles"] > 0 and _operated(best["stifles"], language):
        own_day = _own_day(best, language)
        if not own_day or weight["stifles"] >= weight[own_day]:
            return "stifles", "it has a date of surgery"
        return own_day, "it has a date of its own beside that of surgery"
    if named in weight and weight[named] >= 0.4 * weight[top]:
        return named, f'its name "{title}"'
    if top == "stifles" and not any(item.reading.variable == "surgery_date" for item in best[top]):
        top = "animals" if weight["animals"] >= 0.5 * weight["stifles"] else top
    return top, "what its columns say"


def _likeliest(families: Sequence[Family], context: str, tongue: Tongue) -> list[Meaning]:
    """Take the likeliest meaning of each column in rows of a kind."""
    titles = {"", "stifles" if context == "animals" else context}
    return [found[0] for item in families
            if group_of(item, tongue.language) in titles
            and (found := meanings_of(item, stem_of(item), context, tongue,
                                      counts=item.counts))]  # fmt: skip


def _operated(found: Sequence[Meaning], language: str) -> bool:
    """Tell whether a column is the date of an operation by its header, and holds dates."""
    for item in found:
        scores = header_meanings(stem_of(item.family), language)
        said = scores.get("surgery_date", (0.0, ""))[0]
        if group_of(item.family, language) == "stifles":  # "Date" under "Operation"
            said = max(said, scores.get("date", (0.0, ""))[0])
        if item.reading.variable == "surgery_date" and item.reading.fit >= 0.5 and said >= 0.8:
            return True
    return False


def _own_day(best: Mapping[str, Sequence[Meaning]], language: str) -> str:
    """Name the kind of row whose own day has a column that is no date of an operation."""
    for context, name in _DAYS.items():
        for item in best[context]:
            scores = header_meanings(stem_of(item.family), language)
            own = scores.get(name, scores.get("date", (0.0, "")))[0]
            ended = max(scores.get("surgery_date", (0.0, ""))[0],
                        scores.get("end_of_followup_day", (0.0, ""))[0])  # fmt: skip
            if item.reading.variable == name and own >= 0.8 and own > ended:
                return context
    return ""


def group_of(family: Family, language: str) -> str:
    """Name the kind of row that the title over a single column announces, "" for none."""
    single = not family.repeat and not family.sides
    title = family.columns[0].title if single else ""
    return (title_table(title, language) or title_table(title, "")) if title else ""


def stem_of(family: Family) -> str:
    """Give a family's header without the marks of number and side, and the word beside a number.

    "Patella Kontr{n} {s}" says "Patella", "Datum {n}. Kontrolle" says "Datum"; of a header of two
    rows whose title names a kind of row, the lower.
    """
    if group_of(family, ""):
        return family.columns[0].below_title
    plain = family.template.replace("{s}", " ")
    if family.repeat:
        before, _, after = plain.partition("{n}")
        prefix, short = prefix_of(family), before.strip(_MARKS)
        if short.endswith(prefix):
            plain = f"{short.removesuffix(prefix)} {after}"
        elif prefix in after:
            plain = f"{before} {after.replace(prefix, ' ', 1)}"
        else:
            plain = f"{before.replace(prefix, ' ', 1)} {after}"
    return re.sub(r"^[\s._:-]+|[\s._:-]+$", "", re.sub(r"\s+", " ", plain))


def prefix_of(family: Family) -> str:
    """Give the word beside the number of a repeated header: "Kontr" of "Patella Kontr{n} li".

    It is the word that announces a kind of row: the one before the number first, then the one
    behind it, then any other.
    """
    before, _, after = family.template.replace("{s}", " ").partition("{n}")
    last, first = _parts(before)[-1:], _parts(after)[:1]
    phrases = read_vocabulary().tables
    for word in (*last, *first, *_parts(before)[:-1], *_parts(after)[1:]):
        if any(table_of(word, language, phrases) for language in LANGUAGES):
            return word
    return (*last, *first, "")[0]


def _parts(text: str) -> list[str]:
    words = [word.strip(_MARKS) for word in re.findall(r"[^\s_:-]+", text)]
    return [word for word in words if word]


def of_a_visit(header: str, language: str) -> bool:
    """Tell whether a header holds a word for what comes after an operation: "Kontrolle"."""
    said = tokens(header)
    for item in read_vocabulary().tables:
        width = len(item.words)
        long = len(joined(item.words)) >= (2 if item.language == language else 4)
        if (
            item.meaning not in ("stifles", "follow_up")
            and long
            and any(said[at : at + width] == item.words for at in range(len(said)))
        ):
            return True
    return False


def stems_to_try(family: Family, context: str, tongue: Tongue) -> list[str]:
    """Give the words that a repeated column is read by; a bare number says what is usual."""
    stem = stem_of(family)
    if tokens(re.sub(r"[(\[].*?[)\]]", " ", stem)):
        return [stem]
    counts = family.counts
    numbers = sum(n for text, n in counts.items() if tongue.marks.number(text) is not None)
    dated = date_share(counts) >= 0.5 or numbers >= 0.5 * max(counts.total(), 1)
    usual = {
        "rechecks": "recheck date" if dated else "exam",
        "complications": "complication date" if dated else "complication",
        "revisions": "revision date" if dated else "reason",
    }  # fmt: skip
    return [usual.get(context, family.template)]


def elsewhere(
    family: Family, base: str, tongue: Tongue, *, here: Sequence[Meaning]
) -> tuple[str, list[Meaning]]:
    """Find another kind of row that a column of a sheet speaks of: "Reoperation date"."""
    best_here = max((item.header_score for item in here), default=0.0)
    best: tuple[float, str, list[Meaning]] = (best_here + 0.12, base, list(here))
    for context in _OTHERS.get(base, ()):
        found = meanings_of(family, stem_of(family), context, tongue, counts=family.counts)
        found = [item for item in found if item.reading.variable not in ("local_animal", "side")]
        score = max((item.header_score for item in found), default=0.0)
        if score > best[0]:
            best = (score, context, found)
    return best[1], best[2]
