"""The rows of a logistic model: terms, outcome where known, and the weights of those known."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.design import Design, DesignColumn, narrowed
from analysis.observation_weights import ObservationWeights, follow_up_weights, known_weights
from pipeline.analyses.fitted import TextArray, make_design, optional_labels, optional_numbers
from pipeline.analyses.outcome_day import settled_day, time_column
from pipeline.analyses.selection import OUTCOME, Selection
from pipeline.plan import Analysis


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogisticData:
    """Rows that have all terms; `outcome` is 0 where it is not known, and `known` says so.

    `weights` are those of a column of the plan, or the inverse probability of being known; zero
    where the outcome is not known. `rows` are those of the table, in the order of the design.
    """

    design: Design
    outcome: FloatArray
    known: FloatArray
    weights: FloatArray | None
    cluster: TextArray | None
    observation: ObservationWeights | None
    rows: pl.DataFrame
    weight_columns: tuple[DesignColumn, ...] = ()  # of the model of being known

    @property
    def used(self) -> FloatArray:
        """Weights of a fit: zero leaves a row out."""
        return self.known if self.weights is None else self.weights


def weighted_data(
    selection: Selection, analysis: Analysis, columns: tuple[str, ...]
) -> LogisticData:
    """Take all rows with their terms, and weigh the known ones for those that are not.

    The chance of being known hangs on exposure, ``adjust_for`` and ``observation_terms``, and
    where the table has days of follow-up also on how long a row had to be followed.
    """
    asked = tuple(dict.fromkeys((*analysis.terms, *analysis.observation_terms)))
    time = time_column(analysis, selection.frame)
    also = tuple(name for name in (time, analysis.cluster) if name)
    wide, kept = make_design(selection, analysis, asked, also=also)
    cluster = optional_labels(kept, analysis.cluster)
    known = kept[OUTCOME].is_not_null().cast(pl.Float64).to_numpy()
    if time:
        found = follow_up_weights(
            settled_day(kept, analysis, time), known, wide.matrix, cluster=cluster, names=wide.names
        )
    else:
        found = known_weights(known, wide.matrix, cluster=cluster, names=wide.names)
    return LogisticData(
        design=narrowed(wide, columns), outcome=_filled(kept), known=known,
        weights=found.weights, cluster=cluster, observation=found, rows=kept,
        weight_columns=wide.columns,
    )  # fmt: skip


def complete_data(
    selection: Selection, analysis: Analysis, columns: tuple[str, ...]
) -> LogisticData:
    """Take the rows whose outcome is known."""
    also = (OUTCOME, *(name for name in (analysis.weights, analysis.cluster) if name))
    design, kept = make_design(selection, analysis, columns, also=also)
    return LogisticData(
        design=design, outcome=_filled(kept), known=np.ones(len(kept)),
        weights=optional_numbers(kept, analysis.weights),
        cluster=optional_labels(kept, analysis.cluster), observation=None, rows=kept,
    )  # fmt: skip


def _filled(kept: pl.DataFrame) -> FloatArray:
    return kept[OUTCOME].fill_null(0).cast(pl.Float64).to_numpy()
