"""What a person must settle about values: breeds without a code, and the scale of a score."""

import re
from collections import Counter
from collections.abc import Sequence

from pipeline.draft.codes import missing_reason
from pipeline.draft.columns import Meaning
from pipeline.draft.toml_text import shown
from pipeline.draft.units import scale_top
from pipeline.intake.mapping_confirm import ToConfirm

_MOST = 30  # texts that are named
_SCORE = re.compile(r"(\d+(?:[.,]\d+)?)(?:\s*/\s*\d+)?")
_LAMENESS = ("lameness_preop", "lameness_score")
_TOP = 5  # of the codebook's own scale


def value_doubts(
    title: str, meanings: Sequence[Meaning], language: str
) -> dict[str, ToConfirm]:  # fmt: skip
    """Ask about breeds that no list knows, and about scores whose scale is not proved."""
    found: dict[str, ToConfirm | None] = {}
    for item in meanings:
        name = item.reading.variable
        if name == "breed":
            found[name] = _breeds(title, item)
        elif name in _LAMENESS:
            found[name] = _lameness(title, item, language)
        elif has_scale(item):
            found[name] = _function(title, item, language)
    return {name: block for name, block in found.items() if block is not None}


def has_scale(meaning: Meaning) -> bool:
    """Tell whether the use of a limb is told in figures, which have no meaning by themselves."""
    counts = meaning.counts
    figures = sum(n for text, n in counts.items() if _SCORE.fullmatch(text))
    return meaning.reading.variable == "function_class" and 2 * figures > counts.total()


def highest(counts: Counter[str]) -> float | None:
    """Give the highest score that is seen, None where no text is a number."""
    scores = [float(spot[1].replace(",", ".")) for text in counts
              if (spot := _SCORE.fullmatch(text))]  # fmt: skip
    return max(scores, default=None)


def _breeds(title: str, meaning: Meaning) -> ToConfirm | None:
    """Name every breed that would be kept as it is written, with its cells."""
    known = {item.text for item in meaning.reading.codes if item.code or item.reason}
    left = Counter({text: n for text, n in meaning.counts.items() if text not in known})
    if not left:
        return None
    return ToConfirm(
        what=f"{title}: breeds without code", guess=f"kept as they are written: {_counted(left)}",
        evidence=f"{left.total()} of {meaning.counts.total()} cells, {len(left)} of "
        f"{len(meaning.counts)} texts: no breed that is known",
        do="Write one spelling for each breed, and crossbreed for mixes, where its text stands "
        "behind # below; what is left so counts as a breed of its own.",
    )  # fmt: skip


def _lameness(title: str, meaning: Meaning, language: str) -> ToConfirm | None:
    """Say what speaks for the scale of a lameness score; nothing but a header proves it."""
    name, reading = meaning.reading.variable, meaning.reading
    top = scale_top(meaning.family.template) or reading.out_of
    if top == _TOP:
        return None
    seen = highest(meaning.counts)
    guess = f"0 to {top}" if top else "0 to 5"
    why = "the header says it" if scale_top(meaning.family.template) else f'written "n/{top}"'
    why = why if top else "no scale in the header or the cells; 0 to 5 is usual"
    if seen is None:
        guess, why = "words", "no text is a number"
    elif not top and seen > _TOP:
        guess, why = "0 to 10", f"no scale in the header or the cells, and {seen:g} is above 5"
    far = guess != "0 to 5"
    return ToConfirm(
        what=f"{title}: scale of {name}", guess=guess,
        evidence=f"{why}; {_values(meaning, language)}",
        do="Ask the clinic for its scale. " + (
            "The codebook's score is 0 to 5 and nothing is converted by itself: write "
            f"codes = {{ {_first(meaning, language)} = …, … }} for {name} with 0 to 5, as the "
            "clinic translates its own." if far
            else f"If it is another, write codes = {{ … }} for {name}."),
    )  # fmt: skip


def _function(title: str, meaning: Meaning, language: str) -> ToConfirm:
    name = meaning.reading.variable
    return ToConfirm(
        what=f"{title}: scale of {name}", guess="no figure has a code",
        evidence="figures do not say which end is the good one; " + _values(meaning, language),
        do=f"Ask the clinic for its scale; write codes = {{ {_first(meaning, language)} = "
        '"full", … } with full, acceptable and unacceptable.',
    )  # fmt: skip


def _values(meaning: Meaning, language: str) -> str:
    counts = _asked(meaning, language)
    return f"values seen: {_counted(counts)}" if counts else "no value seen"


def _first(meaning: Meaning, language: str) -> str:
    """Give the most frequent value as an example."""
    counts = _asked(meaning, language)
    return shown(_order(counts)[0]) if counts else '"…"'


def _asked(meaning: Meaning, language: str) -> Counter[str]:
    return Counter({text: n for text, n in meaning.counts.items()
                    if not missing_reason(text, language)})  # fmt: skip


def _counted(counts: Counter[str]) -> str:
    named = _order(counts)
    told = ", ".join(f"{shown(text)} ({counts[text]})" for text in named[:_MOST])
    return told + (f" and {len(named) - _MOST} more" if len(named) > _MOST else "")


def _order(counts: Counter[str]) -> list[str]:
    return sorted(counts, key=lambda text: (-counts[text], text))
