"""How well a logistic model describes its rows: in them, corrected, and in clinics left out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from analysis.arrays import BoolArray, FloatArray
from analysis.calibration import (
    Measured,
    brier_score,
    calibration_curve,
    calibration_in_the_large,
    calibration_slope,
)
from analysis.design import level_text
from analysis.discrimination import Discrimination, c_statistic
from analysis.goodness import hosmer_lemeshow
from analysis.kernels.logistic import fitted_risks
from analysis.left_out import LeftOut, leave_groups_out
from analysis.optimism import Optimism, bootstrap_optimism
from analysis.refit import refit
from pipeline.analyses.curves import no_curves, points_at
from pipeline.analyses.fitted import Fitted, TextArray, concerned, finite, number_row, row_of_test
from pipeline.analyses.influence_rows import influence_rows
from pipeline.analyses.logistic_data import LogisticData
from pipeline.plan import Analysis
from shared.estimate import Estimate

GROUPS = 10  # of fitted risk, in the test of Hosmer and Lemeshow
NO_GROUP = "not recorded"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """A model to be judged: where its rows begin, its data, and whether it is penalised."""

    base: Estimate
    analysis: Analysis
    data: LogisticData
    penalised: bool
    beta: FloatArray

    @property
    def group(self) -> tuple[str, TextArray] | None:
        """Column and labels of the groups that are left out; None for fewer than two."""
        rows = self.data.rows
        column = self.analysis.validate_by or ("clinic_id" if "clinic_id" in rows.columns else None)
        if column is None:
            return None
        labels = level_text(rows[column]).fill_null(NO_GROUP).to_numpy().astype(str)
        used = labels[self.data.used > 0]
        return (column, labels) if len(set(used.tolist())) > 1 else None


def diagnose(base: Estimate, analysis: Analysis, data: LogisticData, *, penalised: bool) -> Fitted:
    """Judge the model that the plan asks for; nothing where it has no fit.

    Rows carry the state "apparent" (in the model's own rows), "optimism", "corrected" (apparent
    less optimism) or "left_out" (each group predicted by a model of the others).
    """
    beta = refit(data.design.matrix, data.outcome, data.used[:, None], penalised=penalised)[:, 0]
    if not np.isfinite(beta).all():
        return Fitted(rows=(), curves=no_curves())
    judged = Judged(base=base, analysis=analysis, data=data, penalised=penalised, beta=beta)
    risk = fitted_risks(beta[0] + data.design.matrix @ beta[1:])
    apparent = replace(base, state="apparent", method="in the rows the model was made from")
    rows, curves = _measures(judged, apparent, risk, data.used > 0)
    if "optimism" in analysis.diagnostics:
        rows += _optimism_rows(judged)
    if "left_out" in analysis.diagnostics and judged.group is not None:
        more, curve = _left_out(judged, *judged.group)
        rows, curves = rows + more, [*curves, *curve]
    if "influence" in analysis.diagnostics:
        rows += influence_rows(base, analysis, data, penalised=penalised, group=judged.group)
    if "hosmer_lemeshow" in analysis.diagnostics and data.weights is None:
        test = hosmer_lemeshow(risk, data.outcome, groups=GROUPS)
        cautious = concerned(base, ("depends_on_grouping",))
        rows += row_of_test(cautious, "hosmer_lemeshow", test)
    return Fitted(rows=tuple(rows), curves=pl.concat([no_curves(), *curves]))


def _measures(
    judged: Judged, base: Estimate, risk: FloatArray, of: BoolArray
) -> tuple[list[Estimate], list[pl.DataFrame]]:
    """Give c-statistic, Brier score, intercept, slope and curve of the risks of some rows."""
    data, analysis = judged.data, judged.analysis
    seen = of & (data.used > 0) & np.isfinite(risk)
    y, w, p = data.outcome[seen], data.used[seen], risk[seen]
    cluster = None if data.cluster is None else data.cluster[seen]
    base = replace(base, n=len(y), events=int(y.sum()))
    rows: list[Estimate] = []
    if "discrimination" in analysis.diagnostics:
        found = c_statistic(p, y, weights=w, cluster=cluster, confidence=analysis.confidence)
        rows.append(_limited(base, "concordance", found))
        score, scaled = brier_score(p, y, weights=w)
        rows += number_row(base, "brier", score) + number_row(base, "scaled_brier", scaled)
    if "calibration" not in analysis.diagnostics:
        return rows, []
    for measure, how in (("calibration_in_the_large", calibration_in_the_large),
                         ("calibration_slope", calibration_slope)):  # fmt: skip
        found = how(p, y, weights=w, cluster=cluster, confidence=analysis.confidence)
        rows.append(_limited(base, measure, found))
    curve = calibration_curve(p, y, weights=w, cluster=cluster, confidence=analysis.confidence)
    if curve is None:
        return rows, []
    rows += number_row(base, "calibration_error", curve.mean_distance)
    heights = curve.observed, curve.low, curve.high
    return rows, [points_at(analysis, "calibration", curve.predicted, heights, state=base.state)]


def _limited(base: Estimate, measure: str, found: Discrimination | Measured) -> Estimate:
    row = replace(
        base, measure=measure, estimate=finite(found.estimate), std_error=finite(found.std_error),
        low=finite(found.low), high=finite(found.high),
    )  # fmt: skip
    return concerned(row, () if row.estimate is not None else ("not_identified",))


def _optimism_rows(judged: Judged) -> list[Estimate]:
    """Correct the measures by a bootstrap of clusters."""
    data, analysis = judged.data, judged.analysis
    n = len(data.outcome)
    cluster = data.cluster if data.cluster is not None else np.arange(n).astype(str)
    found = bootstrap_optimism(
        data.design.matrix, data.outcome, cluster=cluster, weights=data.used,
        penalised=judged.penalised, replicates=analysis.resamples, seed=analysis.seed,
    )  # fmt: skip
    if found is None:
        return []
    drawn = f"{found.n_samples} bootstrap samples of {analysis.cluster or 'rows'}"
    base = replace(judged.base, method=f"{drawn}, {found.n_failed} without a fit left out")
    base = concerned(base, ("resamples_failed",) if found.n_failed else ())
    return _corrected_rows(base, found, judged.analysis)


def _corrected_rows(base: Estimate, found: Optimism, analysis: Analysis) -> list[Estimate]:
    measures = (
        ("concordance", found.concordance, "discrimination"),
        ("brier", found.brier, "discrimination"),
        ("calibration_slope", found.slope, "calibration"),
    )
    rows: list[Estimate] = []
    for measure, value, asked in measures:
        if asked in analysis.diagnostics:
            for state, number in (("optimism", value.optimism), ("corrected", value.corrected)):
                rows += number_row(replace(base, state=state), measure, number)
    return rows


def _left_out(
    judged: Judged, column: str, labels: TextArray
) -> tuple[list[Estimate], list[pl.DataFrame]]:
    """Predict each group by a model of the others, in which the group is no term."""
    data = judged.data
    stays = [place for place, item in enumerate(data.design.columns) if item.term != column]
    if not stays:
        return [], []
    found = leave_groups_out(
        data.design.matrix[:, stays], data.outcome, labels, weights=data.used,
        penalised=judged.penalised,
    )  # fmt: skip
    base = replace(
        judged.base, state="left_out",
        method=f"each {column} predicted by a model of the others, {column} no term of it",
    )  # fmt: skip
    base = concerned(base, ("groups_failed",) if found.failed else ())
    rows, curves = _measures(judged, base, found.risk, np.ones(len(labels), dtype=np.bool_))
    return rows + _group_rows(base, data, found, (column, labels)), curves


def _group_rows(
    base: Estimate, data: LogisticData, found: LeftOut, group: tuple[str, TextArray]
) -> list[Estimate]:
    """Give observed over expected events of each group by the model of the others."""
    column, labels = group
    rows: list[Estimate] = []
    for name in _in_use(found.groups, labels, data.used):
        members = (labels == name) & (data.used > 0)
        y, w = data.outcome[members], data.used[members]
        expected = float(w @ found.risk[members])
        row = replace(
            base, measure="observed_expected", term=column, group=name, confidence=None,
            n=len(y), events=int(y.sum()), clusters=None, estimate=finite(float(w @ y) / expected),
        )  # fmt: skip
        rows.append(concerned(row, ("not_identified",) if name in found.failed else ()))
    return rows


def _in_use(groups: Sequence[str], labels: TextArray, used: FloatArray) -> list[str]:
    return [name for name in groups if (used[labels == name] > 0).any()]
