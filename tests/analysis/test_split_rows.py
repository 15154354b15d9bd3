"""Rows cut at days: R's survSplit, an effect that changes, and what must not change."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.cox import fit_cox
from analysis.split_rows import split_rows
from tests.analysis.r_values import r_values

ORACLES = Path(__file__).parents[1] / "oracles"
CUTS = [183, 91]


@pytest.mark.parametrize("name", ["whole", "late"])
def test_rows_and_an_effect_that_changes_agree_with_r(name: str) -> None:
    """R only: survSplit at days 91 and 183, and coxph with an effect of its own in each period."""
    rows, r = pl.read_csv(ORACLES / "survival_tied.csv"), r_values("survival_split")
    entry = rows["entry"].to_numpy() if name == "late" else None
    found = split_rows(rows["time"].to_numpy(), (rows["state"] == 1).to_numpy(), CUTS, entry=entry)
    place = np.sin(np.arange(1, len(found.row) + 1))
    assert len(found.row) == r[name, "rows"]
    for quantity, values in (("from", found.entry), ("to", found.time), ("events", found.event),
                             ("of row", found.row + 1), ("period", found.period + 1)):  # fmt: skip
        assert np.sum(place * values) == pytest.approx(r[name, quantity], rel=1e-9)
    x1, x2 = (rows[term].to_numpy()[found.row].astype(float) for term in ("x1", "x2"))
    terms = np.column_stack((x2, *(x1 * (found.period == period) for period in range(3))))
    fit = fit_cox(terms, found.time, found.event, entry=found.entry)
    for spot, term in enumerate(("x2", "early", "middle", "late")):
        assert fit.coefficients[spot] == pytest.approx(r[name, f"coef {term}"], rel=1e-6)
        assert fit.std_errors[spot] == pytest.approx(r[name, f"se {term}"], rel=1e-6)


def test_cutting_alone_changes_no_fit() -> None:
    rows = pl.read_csv(ORACLES / "survival_tied.csv")
    terms = rows.select("x1", "x2").to_numpy()
    time, event = rows["time"].to_numpy(), (rows["state"] == 1).to_numpy()
    cut = split_rows(time, event, [0, 30, 91, 91.5, 400, 10_000])
    whole = fit_cox(terms, time, event)
    split = fit_cox(terms[cut.row], cut.time, cut.event, entry=cut.entry)
    np.testing.assert_allclose(split.coefficients, whole.coefficients, rtol=1e-9)
    assert split.log_likelihood == pytest.approx(whole.log_likelihood, rel=1e-12)
    assert cut.event.sum() == event.sum()
    assert np.sum(cut.time - cut.entry) == pytest.approx(time.sum())


def test_a_row_that_leaves_on_a_cut_is_whole_and_bad_rows_are_refused() -> None:
    found = split_rows([91.0, 92], [1, 0], [91])
    assert found.row.tolist() == [0, 1, 1]
    assert found.period.tolist() == [0, 0, 1]
    assert found.event.tolist() == [1, 0, 0]
    with pytest.raises(ValueError, match="after entry in every row, got 5 and 5 in row 1"):
        split_rows([3.0, 5], [1, 0], [2], entry=[0.0, 5])
