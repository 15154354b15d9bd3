"""Events that lie between two visits: Turnbull's risks by arm, and models of log time."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.bootstrap import cluster_multiplicities
from analysis.turnbull import Turnbull, risk_between, turnbull
from pipeline.analyses.curves import no_curves, points_by_day
from pipeline.analyses.fitted import Fitted, base_row, concerned, labels_of
from pipeline.analyses.groups import arms, complete
from pipeline.analyses.parametric import fit_distributions
from pipeline.analyses.selection import Selection, select_rows
from pipeline.plan import Analysis
from shared.estimate import Estimate

METHOD = "Turnbull's estimate; percentile limits from a bootstrap of {what}"


def fit_interval_censored(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Estimate risks between visits by arm, then the models of log time the plan asks for.

    A row without a left end is taken as free of the event on day 0 only; one without a right end
    as free of it to its left end.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table, or an interval is turned round.
    """
    selection = select_rows(frame, analysis)
    rows, points = _turnbull_rows(selection, analysis)
    if analysis.terms:
        needed = (analysis.cluster,) if analysis.cluster else ()
        models = fit_distributions(_known(selection, analysis), analysis, also=needed)
        rows, points = [*rows, *models.rows], pl.concat([points, models.curves])
    return Fitted(rows=tuple(rows), curves=points)


def _known(selection: Selection, analysis: Analysis) -> Selection:
    """Leave out rows of which neither end is known: they were never looked at."""
    frame = selection.frame
    seen = frame[analysis.left or ""].is_not_null() | frame[analysis.right or ""].is_not_null()
    return replace(selection, frame=frame.filter(seen))


def _turnbull_rows(selection: Selection, analysis: Analysis) -> tuple[list[Estimate], pl.DataFrame]:
    known = _known(selection, analysis)
    needed = tuple(name for name in (analysis.exposure, analysis.cluster) if name)
    kept, _ = complete(known, needed) if needed else (known.frame, {})
    base = replace(
        base_row(analysis, selection), adjustment="crude", measure="risk",
        n_dropped=len(selection.frame) - len(kept), state=analysis.outcome_name,
        method=METHOD.format(what=analysis.cluster or "rows"),
    )  # fmt: skip
    rows: list[Estimate] = []
    points = [no_curves()]
    for arm, members in arms(kept, analysis):
        left, right = _ends(members, analysis)
        fit = turnbull(left, right)
        here = replace(base, group=f"turnbull {arm or 'all'}", level=arm, term=analysis.exposure,
                       n=fit.n, events=fit.n_intervals)  # fmt: skip
        rows += _risk_rows(here, fit, list(_again(members, analysis)), analysis)
        points.append(_points(fit, analysis, arm))
    return rows, pl.concat(points)


def _ends(members: pl.DataFrame, analysis: Analysis) -> tuple[FloatArray, FloatArray]:
    left = members[analysis.left or ""].cast(pl.Float64).fill_null(0.0).to_numpy()
    return left, members[analysis.right or ""].cast(pl.Float64).fill_null(float("inf")).to_numpy()


def _again(members: pl.DataFrame, analysis: Analysis) -> Iterator[Turnbull]:
    """Estimate once more in each bootstrap sample of clusters."""
    left, right = _ends(members, analysis)
    own = np.arange(len(left))
    labels = labels_of(members, analysis.cluster) if analysis.cluster else own
    for chunk in cluster_multiplicities(labels, replicates=analysis.resamples, seed=analysis.seed):
        for sample in chunk.T:
            rows = np.repeat(own, sample.astype(np.int64))
            yield turnbull(left[rows], right[rows])


def _risk_rows(
    base: Estimate, fit: Turnbull, samples: list[Turnbull], analysis: Analysis
) -> list[Estimate]:
    """Give the risk that the event has happened by a day at the latest, and its limits."""
    tail = (1 - analysis.confidence) / 2
    rows: list[Estimate] = []
    for place, at in enumerate(risk_between(fit, analysis.horizon)):
        again = [risk_between(sample, analysis.horizon)[place].high for sample in samples]
        low, high = np.quantile(again, [tail, 1 - tail])
        row = replace(base, day=at.day, estimate=at.high, low=float(low), high=float(high))
        rows.append(concerned(row, () if at.low == at.high else ("within_interval",)))
    return rows


def _points(fit: Turnbull, analysis: Analysis, arm: str | None) -> pl.DataFrame:
    """Give the curve at the right ends of the intervals that hold mass; it starts at 0."""
    within = np.isfinite(fit.right)
    day = np.concatenate([[0.0], fit.right[within]])
    risk = np.concatenate([[0.0], np.cumsum(fit.mass)[within]])
    return points_by_day(analysis, "turnbull", day, risk, group=arm)
