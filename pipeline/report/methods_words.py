"""Parts of sentences that the methods of several models share."""

from pipeline.plan import Analysis
from pipeline.report.labels import SETS, Labels, listed, small
from pipeline.report.rows import distinct


def outcomes(alike: list[Analysis], labels: Labels) -> str:
    """Name the outcomes of analyses that are alike."""
    names = (
        small(labels.outcome(item.event, item.event_of_interest or item.outcome)) for item in alike
    )
    return listed(distinct(names))


def first_capital(text: str) -> str:
    """Begin a sentence."""
    return text[:1].upper() + text[1:]


def among(item: Analysis) -> str:
    """Say in which set of stifles."""
    return f" among {SETS[item.population]}" if item.population else ""


def adjusted(alike: list[Analysis], labels: Labels) -> str:
    """Say for what, in a sentence of its own."""
    item = alike[0]
    if not item.adjust_for:
        return ""
    exposures = distinct(other.exposure for other in alike)
    kept = [small(labels.name(name)) for name in item.adjust_for if name not in exposures]
    other = ["the exposure of the other question"] if len(exposures) > 1 else []
    return f" Adjusted for {listed([*kept, *other])}."


def splines(item: Analysis, labels: Labels) -> str:
    """Name the splines, in a sentence of their own."""
    if not item.spline:
        return ""
    named = listed(f"{small(labels.name(column))} ({knots} knots)"
                   for column, knots in item.spline.items())  # fmt: skip
    return f" Restricted cubic splines: {named}."
