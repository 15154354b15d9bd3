"""The results and the flow as they may be published: no clinic, no surgeon, no small count."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

import polars as pl

from pipeline.report.suppress import hidden
from shared.estimate import Estimate

ALL = "all"
COUNTED = frozenset({"count", "proportion", "risk"})
TOGETHER = frozenset({"risk", "restricted_mean", "mean_count", "cumulative_rate"})
BY_HAND = ("overlap_", "clinic_comparison")  # analyses that are about clinics and surgeons
ONE_BY_ONE = frozenset(
    {"odds_ratio_without", "hazard_ratio_without", "observed_expected"}
)  # one clinic, one animal
BOOKKEEPING = frozenset({"rows", "held", "other_levels", "missing"})
Key = tuple[str, ...]


def public_rows(
    rows: Iterable[Estimate], clinics: Collection[str], *, smallest: int
) -> tuple[Estimate, ...]:
    """Leave out what is about a clinic or surgeon, and hide small counts and what reveals them.

    A hidden row keeps its place without numbers. Where the risk or mean of one arm is hidden, so
    are those of the other arms and what compares them on that day.
    """
    kept = [row for row in rows if not _tells_a_clinic(row, set(clinics))]
    counts = {row.row_id: _count(row) for row in kept if row.measure in COUNTED}
    known = {row_id: count for row_id, count in counts.items() if count is not None}
    sensitive = {row.row_id for row in kept if _has_small_number(row, smallest)}
    gone = hidden(known, _sums(kept), sensitive=sensitive, smallest=smallest)
    small = {row_id for row_id, count in known.items() if 0 < count < smallest}
    partly = {
        (row.analysis, row.term)
        for row in kept
        if row.analysis.startswith("table1") and row.measure == "proportion" and row.row_id in gone
    }
    gone |= {
        row.row_id
        for row in kept
        if row.measure == "standardised_difference" and (row.analysis, row.term) in partly
    }
    risky = {_place(row) for row in kept if row.measure in TOGETHER and row.row_id in gone}
    return tuple(
        _hide(row, small=row.row_id in small)
        if row.row_id in gone or _place(row) in risky
        else _without_small_drop(row, smallest)
        for row in kept
    )


def public_flow(flow: pl.DataFrame, *, smallest: int) -> pl.DataFrame:
    """Give the flow of the whole study; a step that few left is joined with the next."""
    steps = flow.filter(pl.col("clinic_id") == ALL).sort("step").to_dicts()
    out: list[dict[str, object]] = []
    waiting: list[dict[str, object]] = []
    for step in steps:
        waiting.append(step)
        before = out[-1] if out else None
        if not _few_left(before, waiting, smallest):
            out.append(_joined(waiting))
            waiting = []
    if waiting and out:
        out.append(_joined([out.pop(), *waiting]))
    return pl.DataFrame(out, schema=flow.schema, orient="row")


def _tells_a_clinic(row: Estimate, clinics: Collection[str]) -> bool:
    named = {row.group, row.level, row.reference}
    surgeon = any(" / " in (value or "") for value in named)
    by_hand = row.analysis.startswith(BY_HAND) or row.term in ("clinic_id", "surgeon_id")
    alone = row.measure in ONE_BY_ONE or row.term in BOOKKEEPING
    return bool(named & set(clinics)) or surgeon or by_hand or alone


def _count(row: Estimate) -> int | None:
    if row.measure == "count":
        return None if row.estimate is None else round(row.estimate)
    return row.events


def _has_small_number(row: Estimate, smallest: int) -> bool:
    """Whether n, the events or those without one are few."""
    if row.n is not None and 0 < row.n < smallest:
        return True
    if row.events is not None and 0 < row.events < smallest:
        return True
    rest = None if row.n is None or row.events is None else row.n - row.events
    return row.measure in COUNTED and rest is not None and 0 < rest < smallest


def _sums(rows: Sequence[Estimate]) -> list[list[str]]:
    """Rows bound by a sum that a reader knows, by their ids."""
    groups: dict[Key, list[str]] = {}
    for row in rows:
        if row.measure not in COUNTED:
            continue
        about = (row.analysis, row.outcome or "", row.term or "", f"{row.day}")
        table1 = row.analysis.startswith("table1")
        keys: list[Key] = [
            ("levels", *about, row.group or "", row.state or "" if not table1 else ""),
            ("groups", *about, row.level or "", row.state or "" if not table1 else ""),
        ]
        # Risks of competing states have no known sum: those lost from sight are not told.
        if row.measure != "risk":
            keys.append(("states", *about, row.group or "", row.level or ""))
        for key in keys:
            groups.setdefault(key, []).append(row.row_id)
    return [group for group in groups.values() if len(group) > 1]


def _place(row: Estimate) -> tuple[str, ...]:
    return (
        row.analysis, row.model or "", row.adjustment or "", f"{row.day}", row.outcome or "",
        row.state or "",
    )  # fmt: skip


def _hide(row: Estimate, *, small: bool) -> Estimate:
    code = "small_count" if small else "protects_small_count"
    return replace(
        row, estimate=None, std_error=None, low=None, high=None, statistic=None, p_value=None,
        n=None, n_dropped=None, events=None, clusters=None, concerns=(*row.concerns, code),
    )  # fmt: skip


def _without_small_drop(row: Estimate, smallest: int) -> Estimate:
    few = row.n_dropped is not None and 0 < row.n_dropped < smallest
    return replace(row, n_dropped=None) if few else row


def _few_left(
    before: dict[str, object] | None, waiting: Sequence[dict[str, object]], smallest: int
) -> bool:
    left = [sum(int(str(step[name])) for step in waiting)
            for name in ("left_operations", "left_stifles")]  # fmt: skip
    if before is not None:
        left.append(int(str(before["animals"])) - int(str(waiting[-1]["animals"])))
    return any(0 < count < smallest for count in left)


def _joined(steps: Sequence[dict[str, object]]) -> dict[str, object]:
    whys = [str(step["why"]) for step in steps if step["why"]]
    sums = {name: sum(int(str(step[name])) for step in steps)
            for name in ("left_operations", "left_stifles")}  # fmt: skip
    return steps[-1] | sums | {"why": "; ".join(whys)}
