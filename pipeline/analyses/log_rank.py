"""The log-rank test and its weighted relatives as an analysis of its own."""

import polars as pl

from pipeline.analyses.arms_test import cluster_test, textbook_test
from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import Fitted, count_rows
from pipeline.analyses.groups import arm_levels, rows_of_arms
from pipeline.analyses.selection import select_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis


def fit_log_rank(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Compare arms by the test the plan names; with clusters the robust score test beside it.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table, or late entry is asked for.
    """
    if analysis.entry:
        raise ValueError("the log-rank test takes no late entry; use the model cox")
    selection = select_rows(frame, analysis)
    base, kept, dropped = rows_of_arms(selection, analysis, columns_needed(analysis))
    if len(arm_levels(kept, analysis)) < 2:
        raise ValueError(f"{analysis.exposure} has one level only, with nothing to compare it to")
    rows = cluster_test(base, kept, analysis) if analysis.cluster else []
    rows += textbook_test(base, kept, analysis) + count_rows(base, selection, dropped)
    return Fitted(rows=tuple(rows), curves=no_curves())
