"""Expected precision before any outcome is looked at by arm."""

from pathlib import Path

import polars as pl
import pytest

from pipeline.descriptives import precision_rows
from pipeline.plan import Analysis, parse_analysis
from shared.estimate import results_frame
from tests.pipeline.eight_stifles import eight_stifles, one, study_in


@pytest.fixture
def cohort() -> pl.DataFrame:
    return eight_stifles()


@pytest.fixture
def analysis(tmp_path: Path) -> Analysis:
    return parse_analysis(study_in(tmp_path).analyses[0])


def test_precision_rows_give_totals_and_expected_width(
    cohort: pl.DataFrame, analysis: Analysis
) -> None:
    rows = precision_rows(cohort, [analysis])
    assert len(results_frame(rows)) == len(rows)
    stifles = one(rows, measure="count", term="stifles")
    assert (stifles.n, stifles.n_dropped, stifles.events) == (7, 1, 2)
    parameter = one(rows, measure="events_per_parameter")
    # one row without weight, one without outcome: 2 events over 3 parameters
    assert (parameter.n, parameter.df) == (6, 3)
    assert parameter.estimate == pytest.approx(2 / 3)
    assert parameter.concerns == ("held_rows", "few_events_per_parameter")
    ratio = one(rows, measure="expected_interval_width", term="hazard_ratio")
    assert ratio.std_error == pytest.approx((1 / (2 * (1 / 7) * (6 / 7))) ** 0.5)


def test_precision_is_blind_to_outcome_by_exposure(
    cohort: pl.DataFrame, analysis: Analysis
) -> None:
    """All outcomes handed to other stifles, so to other arms: the totals stay, and so do rows."""
    known = cohort.filter(pl.col("relux_state").is_not_null() & pl.col("left_at").is_null())
    turned = known.with_columns(pl.col("relux_day", "relux_state").reverse())
    assert turned["relux_state"].to_list() != known["relux_state"].to_list()
    alone = {"animal_id": pl.col("stifle_id")}
    before = precision_rows(known.with_columns(**alone), [analysis])
    after = precision_rows(turned.with_columns(**alone), [analysis])
    kept = [row for row in before if row.measure != "events_per_parameter"]
    assert [row for row in after if row.measure != "events_per_parameter"] == kept


def test_population_without_a_stifle_gives_a_row_without_numbers(
    cohort: pl.DataFrame, analysis: Analysis
) -> None:
    nobody = cohort.with_columns(set_b=pl.lit(value=False))
    (row,) = precision_rows(nobody, [analysis])
    assert (row.n, row.concerns) == (0, ("too_few",))
