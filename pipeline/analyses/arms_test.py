"""Tests of no difference between arms over the whole follow-up."""

from dataclasses import replace
from typing import TYPE_CHECKING, cast

import numpy as np
import polars as pl

from analysis.chi_square import Test
from analysis.cox import cluster_score_test
from analysis.survival import log_rank
from pipeline.analyses.fitted import (
    concerned,
    happened,
    ignores_clusters,
    labels_of,
    numbers_of,
    optional_numbers,
    row_of_test,
    stratum_labels,
)
from pipeline.analyses.groups import arm_levels
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.estimate import Estimate

if TYPE_CHECKING:
    from analysis.log_rank import Weight


def arms_test(base: Estimate, kept: pl.DataFrame, analysis: Analysis) -> list[Estimate]:
    """Compare the hazard of the event of interest between arms.

    With a cluster column by the score test of the Cox model, its variance from the clusters;
    without one by the log-rank family.
    """
    if analysis.cluster:
        return cluster_test(base, kept, analysis)
    return textbook_test(base, kept, analysis)


def cluster_test(base: Estimate, kept: pl.DataFrame, analysis: Analysis) -> list[Estimate]:
    """Give the cluster-robust score test, a log-rank test for stifles of the same animal."""
    event = happened(kept, OF_INTEREST)
    cluster = labels_of(kept, analysis.cluster)
    text = labels_of(kept, analysis.exposure)
    columns = [text == level for level in arm_levels(kept, analysis)[1:]]
    test = cluster_score_test(
        np.column_stack(columns).astype(np.float64),
        numbers_of(kept, analysis.time),
        event,
        cluster=cluster,
        strata=stratum_labels(kept, analysis.strata),
        entry=optional_numbers(kept, analysis.entry),
    )
    row = replace(
        base, n=len(kept), events=int(event.sum()), clusters=len(np.unique(cluster)),
        method=f"score test of the Cox model (Efron ties), variance by {analysis.cluster}",
    )  # fmt: skip
    return row_of_test(row, "robust_score", test) or [_no_test(row, "robust_score")]


def textbook_test(base: Estimate, kept: pl.DataFrame, analysis: Analysis) -> list[Estimate]:
    """Give a test of the log-rank family with observed and expected events; rows independent."""
    event = happened(kept, OF_INTEREST)
    found = log_rank(
        numbers_of(kept, analysis.time),
        event,
        labels_of(kept, analysis.exposure),
        strata=stratum_labels(kept, analysis.strata),
        rho=analysis.rho,
        gamma=analysis.gamma,
        weight=cast("Weight", "fleming_harrington" if analysis.test == "log_rank"
                    else analysis.test),
    )  # fmt: skip
    base = concerned(
        replace(base, n=len(kept), events=int(event.sum()), confidence=None,
                method=_method(analysis)),
        ignores_clusters(kept, analysis),
    )  # fmt: skip
    test = Test(statistic=found.statistic, df=found.df, p_value=found.p_value)
    rows = row_of_test(base, analysis.test, test) or [_no_test(base, analysis.test)]
    text = labels_of(kept, analysis.exposure)
    for place, group in enumerate(found.groups):
        here = replace(base, group=group, n=int((text == group).sum()))
        observed, expected = float(found.observed[place]), float(found.expected[place])
        error = float(np.sqrt(found.covariance[place, place]))
        rows += [
            replace(here, measure="count", term="observed", estimate=observed),
            replace(here, measure="count", term="expected", estimate=expected),
            replace(here, measure="score", term=analysis.test, estimate=observed - expected,
                    std_error=error),
        ]  # fmt: skip
    return rows


def _no_test(base: Estimate, name: str) -> Estimate:
    """Make the row of a test that the data do not determine, and say so."""
    row = replace(base, measure="test", term=name, confidence=None)
    return concerned(row, ("not_identified",) if base.events else ("no_events",))


def _method(analysis: Analysis) -> str:
    name = {
        "log_rank": "log-rank test",
        "gehan": "Gehan-Wilcoxon test",
        "tarone_ware": "Tarone-Ware test",
        "peto_peto": "Peto-Peto test (weight: survival just before the day)",
        "peto_prentice": "Peto-Prentice test (weight: product of 1 - d / (n + 1))",
    }.get(
        analysis.test,
        f"Fleming-Harrington test, rho {analysis.rho:g}, gamma {analysis.gamma:g}",
    )
    strata = f", stratified by {', '.join(analysis.strata)}" if analysis.strata else ""
    return f"{name}{strata}, hypergeometric variance"
