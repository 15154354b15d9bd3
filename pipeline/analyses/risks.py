"""Proportions by arm with Wilson limits: for outcomes that are known in everybody who counts."""

from dataclasses import replace

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.exact_test import ExactTest, fisher_test, mid_p_test
from analysis.proportions import Proportion, design_effect, wilson
from analysis.two_groups import TwoGroups
from analysis.two_proportions import (
    number_needed,
    odds_ratio,
    risk_difference_newcombe,
    risk_ratio,
)
from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    contrast_row,
    count_rows,
    finite,
    ignores_clusters,
    labels_of,
)
from pipeline.analyses.groups import arms, reference_of, rows_of_arms
from pipeline.analyses.outcome_day import day_of_outcome
from pipeline.analyses.selection import OUTCOME, select_rows
from pipeline.plan import Analysis
from shared.estimate import Estimate


def fit_risks(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Give the proportion with the outcome in each arm, and differences and ratios.

    Only rows with a known outcome count: where events are always known and non-events only if
    looked for, that over-counts, and the rows say so if some outcomes are unknown.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = select_rows(frame, analysis)
    needed = (OUTCOME, analysis.cluster) if analysis.cluster else (OUTCOME,)
    base, kept, dropped = rows_of_arms(selection, analysis, needed)
    base = replace(base, day=day_of_outcome(analysis))
    base = concerned(base, ("outcome_selected_by_follow_up",) if dropped.get(OUTCOME) else ())
    if analysis.cluster is None:
        base = concerned(base, ignores_clusters(kept, analysis))
    found = {arm: _proportion(members, analysis) for arm, members in arms(kept, analysis)}
    rows = [_row(base, arm, share, members=kept, analysis=analysis) for arm, share in found.items()]
    reference = reference_of(kept, analysis) if analysis.exposure else None
    if reference in found and reference is not None:
        rows += _contrasts(base, analysis, found, reference=reference)
    rows += count_rows(base, selection, dropped)
    return Fitted(rows=tuple(rows), curves=no_curves())


def _proportion(members: pl.DataFrame, analysis: Analysis) -> Proportion:
    outcome: FloatArray = members[OUTCOME].cast(pl.Float64).to_numpy()
    effect = 1.0
    if analysis.cluster:
        effect = design_effect(outcome, labels_of(members, analysis.cluster))
    return wilson(
        int(outcome.sum()), len(outcome), design_effect=effect, confidence=analysis.confidence
    )


def _row(
    base: Estimate, arm: str | None, share: Proportion, *, members: pl.DataFrame, analysis: Analysis
) -> Estimate:
    clusters = None
    if analysis.cluster:
        own = labels_of(members, analysis.cluster)
        chosen = np.ones(len(own), bool) if arm is None else labels_of(
            members, analysis.exposure) == arm  # fmt: skip
        clusters = len(np.unique(own[chosen]))
    row = replace(
        base, measure="proportion", group=arm, estimate=finite(share.estimate),
        low=finite(share.low), high=finite(share.high), n=share.n, events=share.events,
        clusters=clusters, method=f"Wilson limits, design effect {share.design_effect:.3g}",
    )  # fmt: skip
    return concerned(row, () if share.events else ("no_events",))


def _contrasts(
    base: Estimate, analysis: Analysis, found: dict[str | None, Proportion], *, reference: str
) -> list[Estimate]:
    rows: list[Estimate] = []
    zero = found[reference]
    for arm, one in found.items():
        if arm == reference:
            continue
        groups = TwoGroups(
            events=one.events, n=one.n, reference_events=zero.events, reference_n=zero.n
        )
        here = replace(
            base, term=analysis.exposure, level=arm, reference=reference, n=one.n + zero.n,
            events=one.events + zero.events,
        )  # fmt: skip
        difference = risk_difference_newcombe(
            groups,
            confidence=analysis.confidence,
            design_effects=(one.design_effect, zero.design_effect),
        )
        independent = ("clusters_ignored",) if analysis.cluster else ()
        ratios = [
            concerned(contrast_row(here, ratio(groups, confidence=analysis.confidence)),
                      independent)
            for ratio in (risk_ratio, odds_ratio)
        ]  # fmt: skip
        rows += [contrast_row(here, difference), *ratios]
        rows.append(contrast_row(here, number_needed(difference)))
        exact = {"exact": fisher_test(groups, confidence=analysis.confidence),
                 "mid_p": mid_p_test(groups, confidence=analysis.confidence)}  # fmt: skip
        rows += [concerned(_exact_row(here, kind, found), independent)
                 for kind, found in exact.items()]  # fmt: skip
    return rows


def _exact_row(here: Estimate, kind: str, found: ExactTest) -> Estimate:
    """Make the row of an exact odds ratio; a nil or infinite one has no number, but its limits."""
    known = 0 < found.odds_ratio < float("inf")
    row = replace(
        here, measure=f"{kind}_odds_ratio", estimate=found.odds_ratio if known else None,
        low=finite(found.low), high=finite(found.high), p_value=found.p_value,
        method="conditional, Fisher's test" if kind == "exact" else "conditional, mid-p",
    )  # fmt: skip
    return concerned(row, () if known else ("separation",))
