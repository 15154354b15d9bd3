"""How dates are written, and whether the order of day and month is proved."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from pipeline.draft.plain import joined, tokens
from pipeline.draft.vocabulary import LANGUAGES, Vocabulary

_NUMERIC = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})")
_ISO = re.compile(r"(\d{4})([./-])(\d{1,2})\2(\d{1,2})")
_WORDED = re.compile(r"(\d{1,2})([ .-]?\s?)([^\W\d_]{3,})\.?([ .-]?)(\d{4}|\d{2})")
WORKBOOK = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d:\d\d.*")


@dataclass(frozen=True, slots=True, kw_only=True)
class DateForm:
    """One form of dates, how many cells have it, and whether its order is proved."""

    form: str
    n: int
    evidence: str
    proved: bool
    months: Mapping[str, int] = field(default_factory=dict[str, int])
    rivals: tuple[str, ...] = ()


def is_date(text: str) -> bool:
    """Tell whether a text has the shape of a date."""
    return any(form.fullmatch(text) for form in (_NUMERIC, _ISO, WORKBOOK)) or bool(
        (found := _WORDED.fullmatch(text)) and len(found[3]) <= 10
    )


def date_share(counts: Counter[str]) -> float:
    """Give the share of cells that have the shape of a date."""
    return sum(n for text, n in counts.items() if is_date(text)) / max(counts.total(), 1)


def guess_dates(texts: Iterable[str], vocabulary: Vocabulary, language: str) -> list[DateForm]:
    """Read the forms of all dates of an export, most frequent first."""
    numeric: dict[tuple[str, int], list[tuple[int, int]]] = {}
    forms: Counter[str] = Counter()
    worded: dict[str, set[str]] = {}
    for text in texts:
        if found := _NUMERIC.fullmatch(text):
            place = numeric.setdefault((found[2], len(found[4])), [])
            place.append((int(found[1]), int(found[3])))
        elif found := _ISO.fullmatch(text):
            forms[f"YYYY{found[2]}MM{found[2]}DD"] += 1
        elif found := _WORDED.fullmatch(text):
            form = f"DD{found[2]}MMM{found[4]}{'Y' * len(found[5])}"
            forms[form] += 1
            worded.setdefault(form, set()).add(found[3])
    made = [_ordered(mark, digits, pairs, language) for (mark, digits), pairs in numeric.items()]
    made += [_other(form, n, worded.get(form, set()), vocabulary, language=language)
             for form, n in forms.items()]  # fmt: skip
    return sorted((item for item in made), key=lambda item: (-item.n, item.form))


def _ordered(mark: str, digits: int, pairs: list[tuple[int, int]], language: str) -> DateForm:
    first = sum(one > 12 for one, _ in pairs)
    second = sum(two > 12 for _, two in pairs)
    year = "Y" * digits
    day_first, month_first = f"DD{mark}MM{mark}{year}", f"MM{mark}DD{mark}{year}"
    if first and not second:
        why = f"{first} of {len(pairs)} dates have a first number above 12, none a second"
        return DateForm(form=day_first, n=len(pairs), evidence=why, proved=True)
    if second and not first:
        why = f"{second} of {len(pairs)} dates have a second number above 12, none a first"
        return DateForm(form=month_first, n=len(pairs), evidence=why, proved=True)
    form = day_first if first > second or (first == second and (mark != "/" or language != "en")) \
        else month_first if second > first else day_first  # fmt: skip
    why = (
        f"both orders occur: {first} dates with a first, {second} with a second number above 12"
        if first else f"no number above 12 in {len(pairs)} dates, so the order is not proved"
    )  # fmt: skip
    rivals = tuple(item for item in (day_first, month_first) if item != form)
    return DateForm(form=form, n=len(pairs), evidence=why, proved=False, rivals=rivals)


def _other(
    form: str, n: int, names: set[str], vocabulary: Vocabulary, *, language: str
) -> DateForm:
    if not names:
        return DateForm(form=form, n=n, evidence="the year comes first", proved=True)
    seen: dict[str, int] = {}
    for name in sorted(names, key=str.lower):
        wanted = joined(tokens(name))
        fits = {int(item.meaning) for item in vocabulary.months if joined(item.words) == wanted}
        if len(fits) == 1:
            seen[name.lower()] = fits.pop()
    months = _all_twelve(seen, vocabulary, language)
    unknown = sorted({name for name in names if name.lower() not in seen})
    why = f"{len(seen)} names of months seen" + (
        f"; not known: {', '.join(unknown)}" if unknown else ""
    )
    return DateForm(form=form, n=n, evidence=why, proved=not unknown,
                    months=dict(sorted(months.items(), key=lambda pair: pair[1])))  # fmt: skip


def _all_twelve(seen: Mapping[str, int], vocabulary: Vocabulary, language: str) -> dict[str, int]:
    """Name every month in each language that was seen; a later export has other months."""
    months, left = dict(seen), dict(seen)
    for name in (language, *(item for item in LANGUAGES if item != language)):
        words = [item for item in vocabulary.months if item.language == name]
        known = {joined(item.words) for item in words}
        met = [text for text in left if joined(tokens(text)) in known]
        if met:
            months = {item.text.lower(): int(item.meaning) for item in words} | months
        for text in met:
            del left[text]
    return months
