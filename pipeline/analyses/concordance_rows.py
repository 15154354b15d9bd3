"""Concordances of a Cox model as rows: Harrell's, and Uno's, which forgets the censoring."""

from dataclasses import replace

from analysis.concordance import uno_concordance
from analysis.cox import CoxFit
from pipeline.analyses.fitted import concerned, number_row
from pipeline.plan import Analysis
from shared.estimate import Estimate


def concordance_rows(base: Estimate, analysis: Analysis, fit: CoxFit) -> list[Estimate]:
    """Give both; Uno's up to the last day of the horizon, if the plan names one.

    A model without all its coefficients has neither; with late entry Uno's is withheld.
    """
    rows = number_row(base, "concordance", fit.concordance)
    if not rows:
        return []
    day = max(analysis.horizon, default=None)
    method = "pairs weighted by the inverse squared chance of not being censored before (Uno)"
    base = replace(
        base, measure="uno_concordance", day=day, confidence=None,
        method=method if day is None else f"{method}; events up to day {day:g}",
    )  # fmt: skip
    if fit.rows.entry is not None:
        return [*rows, concerned(base, ("late_entry",))]
    found = uno_concordance(fit.rows, fit.rows.x @ fit.coefficients, last_day=day)
    return rows + number_row(base, "uno_concordance", found)
