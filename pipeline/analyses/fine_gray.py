"""Fine and Gray's model and Gray's test: who ends with more events, death competing."""

from dataclasses import replace

import polars as pl

from analysis.design import Design
from analysis.fine_gray import FineGrayFit, fit_fine_gray
from analysis.gray import gray_test
from pipeline.analyses.curves import no_curves
from pipeline.analyses.effects import coefficient_rows, term_tests, wald_effects
from pipeline.analyses.fitted import (
    Fitted,
    base_row,
    concerned,
    count_rows,
    design_version,
    ignores_clusters,
    labels_of,
    naming,
    number_row,
    numbers_of,
    optional_labels,
    row_of_test,
)
from pipeline.analyses.groups import complete
from pipeline.analyses.selection import EVENT, Selection, select_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.estimate import Estimate

METHOD = (
    "Fine and Gray's subdistribution hazards, {ties} ties, censoring weights pooled; sandwich "
    "errors {by}, the weights taken as estimated [Fine and Gray 1999]"
)
GRAY = "Gray's test of equal cumulative incidence [Gray 1988]"


def fit_fine_gray_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Fit the crude and adjusted models that the plan asks for, and compare arms by Gray's test.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = select_rows(frame, analysis)
    rows: list[Estimate] = []
    for adjustment in analysis.adjustments:
        base, design, kept = design_version(
            selection, analysis, adjustment, also=columns_needed(analysis)
        )
        rows += _model_rows(analysis, design, kept, base=base)
        rows += count_rows(base, selection, design.dropped)
    return Fitted(rows=(*rows, *_gray_rows(selection, analysis)), curves=no_curves())


def _model_rows(
    analysis: Analysis, design: Design, kept: pl.DataFrame, *, base: Estimate
) -> list[Estimate]:
    fit = fit_fine_gray(
        design.matrix, numbers_of(kept, analysis.time), kept[EVENT].to_numpy(),
        cause=OF_INTEREST, cluster=optional_labels(kept, analysis.cluster),
        ties="breslow" if analysis.ties == "breslow" else "efron", names=design.names,
    )  # fmt: skip
    base = replace(
        base, n=fit.n, n_dropped=len(design.kept) - fit.n, events=fit.events,
        clusters=fit.clusters, method=_method(analysis),
    )  # fmt: skip
    base = concerned(
        naming(base, fit.redundant),
        (*fit.concerns, *(() if analysis.cluster else ignores_clusters(kept, analysis))),
    )  # fmt: skip
    return _estimates(base, design, fit, confidence=analysis.confidence)


def _estimates(
    base: Estimate, design: Design, fit: FineGrayFit, *, confidence: float
) -> list[Estimate]:
    effects = wald_effects(design.columns, fit.coefficients, fit.covariance, confidence=confidence)
    rows = coefficient_rows(base, effects, "subdistribution_hazard_ratio")
    rows += term_tests(base, design.columns, fit.coefficients, fit.covariance)
    rows += row_of_test(base, "likelihood_ratio", fit.likelihood_ratio)
    rows += row_of_test(base, "wald", fit.wald)
    rows += number_row(base, "log_likelihood", fit.log_likelihood)
    return rows + number_row(base, "log_likelihood_null", fit.log_likelihood_null)


def _gray_rows(selection: Selection, analysis: Analysis) -> list[Estimate]:
    """Compare the arms; with numbers as exposure there are none."""
    exposure = analysis.exposure
    if exposure is None or exposure not in analysis.categorical:
        return []
    kept, _ = complete(selection, (exposure, *columns_needed(analysis)))
    test = gray_test(
        numbers_of(kept, analysis.time), kept[EVENT].to_numpy(), labels_of(kept, exposure),
        cause=OF_INTEREST,
    )  # fmt: skip
    base = replace(
        base_row(analysis, selection), adjustment="crude", method=GRAY, n=len(kept),
        events=int((kept[EVENT] == OF_INTEREST).sum()),
        n_dropped=len(selection.frame) - len(kept),
    )  # fmt: skip
    return row_of_test(concerned(base, ignores_clusters(kept, analysis)), "gray", test)


def _method(analysis: Analysis) -> str:
    by = f"by {analysis.cluster}" if analysis.cluster else "by row"
    return METHOD.format(ties=analysis.ties.capitalize(), by=by)
