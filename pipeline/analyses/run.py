"""One analysis of a plan on one table: the right model, its errors in the words of the plan."""

from collections.abc import Callable, Mapping

import polars as pl

from pipeline.analyses.clustered_logistic import fit_gee_analysis, fit_mixed_analysis
from pipeline.analyses.conditional import fit_conditional_analysis
from pipeline.analyses.cox import fit_cox_analysis
from pipeline.analyses.fine_gray import fit_fine_gray_analysis
from pipeline.analyses.fitted import Fitted
from pipeline.analyses.frailty import fit_frailty_analysis
from pipeline.analyses.incidence import fit_cumulative_incidence
from pipeline.analyses.interval_censored import fit_interval_censored
from pipeline.analyses.kaplan_meier import fit_kaplan_meier
from pipeline.analyses.log_rank import fit_log_rank
from pipeline.analyses.logistic import fit_logistic_analysis
from pipeline.analyses.mean_count import fit_mean_count
from pipeline.analyses.paired_table import fit_paired_table
from pipeline.analyses.parametric import fit_parametric_analysis
from pipeline.analyses.restricted_mean import fit_restricted_mean
from pipeline.analyses.risks import fit_risks
from pipeline.analyses.stratified_table import fit_stratified_table
from pipeline.plan import Analysis
from pipeline.plan_check import check_plan
from shared.errors import PlanError

FITS: Mapping[str, Callable[[pl.DataFrame, Analysis], Fitted]] = {
    "conditional_logistic": fit_conditional_analysis,
    "cox": fit_cox_analysis,
    "logistic": fit_logistic_analysis,
    "cumulative_incidence": fit_cumulative_incidence,
    "fine_gray": fit_fine_gray_analysis,
    "frailty": fit_frailty_analysis,
    "interval_censored": fit_interval_censored,
    "gee_logistic": fit_gee_analysis,
    "kaplan_meier": fit_kaplan_meier,
    "log_rank": fit_log_rank,
    "mean_cumulative_count": fit_mean_count,
    "mixed_logistic": fit_mixed_analysis,
    "parametric_survival": fit_parametric_analysis,
    "paired_table": fit_paired_table,
    "restricted_mean": fit_restricted_mean,
    "risks": fit_risks,
    "stratified_table": fit_stratified_table,
}


def run_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Check the plan against the table and fit the model it names.

    Raises
    ------
    PlanError
        Naming the analysis, what does not fit and what to do.
    """
    check_plan(analysis, frame)
    try:
        return FITS[analysis.model](frame, analysis)
    except ValueError as error:
        raise PlanError(
            f'analysis "{analysis.id}"',
            str(error),
            do=_remedy(str(error), analysis)
            + "Change the plan, or look at the rows of its population.",
        ) from error


def _remedy(what: str, analysis: Analysis) -> str:
    """Say first what a study of one clinic, or of one year, must do."""
    term, found, _ = what.partition(" has one level only")
    return f"Take {term} out of adjust_for. " if found and term in analysis.adjust_for else ""
