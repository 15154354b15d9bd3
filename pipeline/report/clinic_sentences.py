"""Three things for a clinic, found by rule: what goes well, what to look at, what to send."""

from collections.abc import Iterator

import polars as pl
from markupsafe import Markup

from pipeline.report.clinic_material import ClinicView, Compared
from pipeline.report.counts import count_id
from pipeline.report.labels import listed, small
from pipeline.report.rows import number
from pipeline.report.text import estimate_and_interval, whole
from shared.estimate import Estimate

MOST = 3  # sentences in a box
BEHIND = 0.10  # share below that of all clinics from which it is said
MUCH_MISSING = 0.10
ASKED = {
    "stop": "rows that could not be placed; they are not in the study yet",
    "hold": "values that are held back: what hangs on them counts as unknown",
    "derive": "values that we worked out ourselves and ask you to confirm",
    "ask": "values that are in use and look odd",
}


def three_things(view: ClinicView) -> list[tuple[str, str, list[Markup]]]:
    """Give the three boxes of the page; the first always has a true sentence."""
    return [
        ("well", "Going well", list(_first(_well(view), _thanks(view)))),
        ("look", "Look at this", list(_first(_look(view), Markup("Nothing stands out.")))),
        ("send", "Send us that", list(_first(_send(view), Markup(
            "Nothing: no question is open. Thank you.")))),
    ]  # fmt: skip


def _first(sentences: Iterator[Markup], otherwise: Markup) -> Iterator[Markup]:
    given = 0
    for sentence in sentences:
        if given == MOST:
            return
        given += 1
        yield sentence
    if not given:
        yield otherwise


def _thanks(view: ClinicView) -> Markup:
    return Markup("Your clinic's stifles are part of this study. Thank you.")


def _well(view: ClinicView) -> Iterator[Markup]:
    ahead = [item for item in view.compared("rechecks", "proportion") if _gap(item) >= 0]
    if ahead:
        yield _recheck_sentence(max(ahead, key=_gap), view)
    ledger = view.material.counts.ledger.filter(pl.col("clinic_id") == view.clinic)
    if len(ledger) and not ledger["unreadable"].sum():
        yield Markup("Every row of your files could be read.")
    for outcome, item in view.outcomes():
        row = item.ratio
        held = row.low is not None and row.high is not None and row.low <= 1 <= row.high
        if held and not view.is_small(row.events or 0):
            yield Markup("{}: about as many as your case mix lets expect.").format(
                view.material.labels.outcome(outcome)
            )
    complete = [item for item in _missing(view) if not item.own.events]
    if complete:
        yield Markup("Complete: {}.").format(_names(complete, view))


def _look(view: ClinicView) -> Iterator[Markup]:
    for outcome, item in view.outcomes():
        row = item.ratio
        if row.low is None or row.high is None or view.is_small(row.events or 0):
            continue
        if row.low > 1 or row.high < 1:
            yield Markup(
                "{}: {} than your case mix lets expect, observed over expected {}. Look first at "
                "the share rechecked: who looks more finds more."
            ).format(
                view.material.labels.outcome(outcome),
                "more" if row.low > 1 else "fewer",
                number(estimate_and_interval(row), row.row_id),
            )
    behind = [item for item in view.compared("rechecks", "proportion") if _gap(item) <= -BEHIND]
    if behind:
        yield _recheck_sentence(min(behind, key=_gap), view)
    much = [item for item in _missing(view) if (item.own.estimate or 0) >= MUCH_MISSING]
    for item in sorted(much, key=lambda item: -(item.own.estimate or 0)):
        if not view.is_small(item.own.events or 0):
            yield Markup("{} is not recorded in {}.").format(
                view.material.labels.name(item.own.term or ""),
                number(view.share(item.own), item.own.row_id),
            )


def _send(view: ClinicView) -> Iterator[Markup]:
    findings = view.material.counts.findings.filter(pl.col("clinic_id") == view.clinic)
    found = dict(findings.select("action", "n").iter_rows())
    for action, words in ASKED.items():
        if found.get(action):
            yield Markup("{} {}.").format(
                number(_in_words(found[action], view), count_id("findings", view.clinic, action)),
                words,
            )


def most_asked(view: ClinicView) -> list[str]:
    """Name the variables that most questions are about."""
    asked = view.material.counts.asked.filter(
        (pl.col("clinic_id") == view.clinic) & (pl.col("variable") != "")
    )
    return [small(view.material.labels.name(name)) for name in asked["variable"].head(5)]


def _missing(view: ClinicView) -> list[Compared]:
    planned = {column for item in view.material.analyses for column in item.terms}
    return [item for item in view.compared("missing", "proportion") if item.own.term in planned]


def _gap(item: Compared) -> float:
    if item.own.estimate is None or item.network is None or item.network.estimate is None:
        return -0.0001
    return item.own.estimate - item.network.estimate


def _recheck_sentence(item: Compared, view: ClinicView) -> Markup:
    row = item.own
    text = Markup("Rechecked in the time frame to day {}: {}").format(
        whole(row.day or 0), number(view.share(row), row.row_id)
    )
    if item.network is None:
        return text + "."
    network: Estimate = item.network
    return text + Markup("; all clinics together {}.").format(
        number(view.share(network), network.row_id)
    )


def _names(items: list[Compared], view: ClinicView) -> str:
    names = [small(view.material.labels.name(item.own.term or "")) for item in items]
    more = len(names) - MOST
    return listed(names) if more < 2 else f"{', '.join(names[:MOST])} and {more} others"


def _in_words(count: int, view: ClinicView) -> str:
    return f"Fewer than {view.smallest}" if view.is_small(count) else view.count(count)
