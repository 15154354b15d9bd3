"""Results as a surgeon reads them: risks of 100 stifles first, then ratios, then doubts."""

from collections.abc import Iterable, Sequence

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.labels import MEASURES, MODELS, Labels, listed, small
from pipeline.report.rows import number
from pipeline.report.text import (
    confidence_text,
    day_text,
    estimate_text,
    fixed,
    interval_text,
    more_or_fewer,
    needed_text,
    p_equation,
    p_text,
)
from shared.estimate import CONCERNS, Estimate

NO_MORE = more_or_fewer(0.0)
SAID_ELSEWHERE = frozenset({"held_rows", "interval_through_infinity"})


def risk_sentence(
    risks: Sequence[Estimate], difference: Estimate | None, *, exposure: str, labels: Labels
) -> Markup:
    """Say the risks of two arms and their difference of 100 stifles.

    Parameters
    ----------
    risks
        The reference arm, then the other; each with a day and an estimate.
    difference
        The row of the other arm's risk less the reference's, where there is one.
    """
    reference, other = risks
    text = Markup(
        "Within {} of surgery, {} was found in about {} of 100 stifles {} ({}) and in about {} "
        "of 100 {} ({})"
    ).format(
        day_text(reference.day or 0),
        small(labels.outcome(reference.outcome, reference.state)),
        _per_hundred(reference),
        labels.arm_phrase(exposure, reference.group or ""),
        _limits(reference, first=True),
        _per_hundred(other),
        labels.arm_phrase(exposure, other.group or ""),
        _limits(other),
    )
    if difference is None or difference.estimate is None:
        return text + "."
    return text + Markup(": {}.").format(difference_words(difference))


def difference_words(row: Estimate) -> Markup:
    """Say a difference per 100: "5 fewer (from 10 fewer to 1 more)"."""
    words = more_or_fewer(row.estimate or 0.0)
    words = "about the same" if words == NO_MORE else f"about {words}"
    if row.low is not None and row.high is not None:
        low, high = (more_or_fewer(limit) for limit in (row.low, row.high))
        both = "fewer than 1 either way" if low == high == NO_MORE else f"from {low} to {high}"
        words = f"{words} ({both})"
    return number(words, row.row_id)


def doubt_sentence(difference: Estimate | None) -> Markup:
    """Say what an interval that holds both directions means."""
    if difference is None or difference.low is None or difference.high is None:
        return Markup("")
    ends = [more_or_fewer(limit) for limit in (difference.low, difference.high)]
    if not difference.low < 0 < difference.high or ends[0] == ends[1]:
        return Markup("")
    if NO_MORE not in ends:
        said = "holds fewer as well as more: these data are too few to say which"
    else:
        side = "fewer" if ends[1] == NO_MORE else "more"
        said = f"reaches none: these data are too few to be sure of {side}"
    return Markup("The interval {}.").format(said)


def needed_sentence(row: Estimate) -> Markup:
    """Say the number needed to treat."""
    return Markup("Number needed to treat: {}.").format(number(needed_text(row), row.row_id))


def ratio_sentence(crude: Estimate | None, adjusted: Estimate | None) -> Markup:
    """Say a ratio and the model behind it, adjusted first."""
    parts = [_ratio(row) for row in (adjusted, crude) if row is not None]
    named = adjusted or crude
    if named is None:
        return Markup("")
    name = MEASURES.get(named.measure, named.measure.replace("_", " "))
    behind = f", {MODELS[named.model]}" if named.model in MODELS else ""
    return Markup("{}{}: {}.").format(name[0].upper() + name[1:], behind, Markup("; ").join(parts))


def concern_texts(row: Estimate) -> tuple[str, ...]:
    """Give the concerns of a row in words; those said once for a whole table are left out."""
    return tuple(CONCERNS[code] for code in row.concerns if code not in SAID_ELSEWHERE)


def common_notes(rows: Iterable[Estimate]) -> tuple[str, ...]:
    """Give what is to be said once under a table of these rows."""
    found = {code for row in rows for code in row.concerns}
    return ("Stifles with an open question to their clinic are left out.",) * ("held_rows" in found)


def adjusted_for(analysis: Analysis, labels: Labels) -> str:
    """Name what an analysis is adjusted for."""
    return listed(small(_adjusted(column, labels)) for column in analysis.adjust_for)


def _adjusted(column: str, labels: Labels) -> str:
    """Name a variable of a model without what only a statistician asks: its logarithm."""
    plain_column = column.removeprefix("log_")
    name = labels.name(plain_column if plain_column in labels.variables else column)
    return name.removesuffix(" used")


def versus(analysis: Analysis, labels: Labels) -> str:
    """Name a contrast: "Block recession against wedge recession"."""
    if not analysis.exposure or len(analysis.levels) < 2:
        return ""
    reference, *others = (labels.arm(analysis.exposure, level) for level in analysis.levels)
    return f"{listed(others)} against {small(reference)}"


def _ratio(row: Estimate) -> Markup:
    said = estimate_text(row)
    interval = interval_text(row)
    p_value = p_text(row.p_value)
    if interval:
        said += f" ({confidence_text(row)} interval {interval}"
        said += f"; {p_equation(row.p_value)})" if p_value else ")"
    return Markup("{} {}").format(number(said, row.row_id), row.adjustment or "")


def _per_hundred(row: Estimate) -> Markup:
    return number(fixed(100 * (row.estimate or 0.0), 0), row.row_id)


def _limits(row: Estimate, *, first: bool = False) -> Markup:
    if row.low is None or row.high is None:
        return Markup("no interval")
    text = f"{fixed(100 * row.low, 0)} to {fixed(100 * row.high, 0)}"
    return number(f"{confidence_text(row)} interval {text}" if first else text, row.row_id)
