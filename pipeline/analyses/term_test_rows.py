"""Tests of each term as a whole: by likelihood and score where rows are independent, by Wald."""

from analysis.dropped_terms import Terms, drop_each, drop_each_penalised
from pipeline.analyses.fitted import concerned, row_of_test
from pipeline.analyses.logistic_data import LogisticData
from pipeline.plan import Analysis
from shared.estimate import Estimate


def dropped_rows(base: Estimate, analysis: Analysis, data: LogisticData) -> list[Estimate]:
    """Give the likelihood-ratio and score test of each term of a maximum-likelihood fit.

    None with clusters, whose rows the likelihood takes as independent: there robust Wald tests
    stand alone. None with estimated weights, which leave no likelihood.
    """
    if data.cluster is not None or data.observation is not None:
        return []
    found = drop_each(data.design.matrix, data.outcome, _terms(analysis, data), weights=data.used)
    return [
        row
        for term, tests in found.items()
        for name, test in (("likelihood_ratio", tests.likelihood_ratio), ("score", tests.score))
        for row in row_of_test(base, name, test, level=term)
    ]


def penalised_dropped_rows(
    base: Estimate, analysis: Analysis, data: LogisticData, *, separated: tuple[str, ...]
) -> list[Estimate]:
    """Give the penalised likelihood-ratio test of each term.

    With clusters only of those that separate, which have no other, and with the concern that it
    takes the rows of a cluster as independent.
    """
    terms = _terms(analysis, data)
    if data.cluster is not None:
        columns = data.design.columns
        terms = {
            name: places for name, places in terms.items()
            if any(columns[place].name in separated for place in places)
        }  # fmt: skip
        base = concerned(base, ("clusters_ignored",))
    found = drop_each_penalised(data.design.matrix, data.outcome, terms, weights=data.used)
    return [
        row for term, test in found.items()
        for row in row_of_test(base, "penalised_likelihood_ratio", test, level=term)
    ]  # fmt: skip


def _terms(analysis: Analysis, data: LogisticData) -> Terms:
    """Give the columns of each term but those whose product stands in the model.

    What remains of a term without its own column beside a product depends on the other's zero.
    """
    paired = {name for pair in analysis.interactions for name in pair}
    found: dict[str, list[int]] = {}
    for place, column in enumerate(data.design.columns):
        if column.term not in paired:
            found.setdefault(column.term, []).append(place)
    return found
