"""Rows and filled cells of each clinic, however its rows are strewn."""

import polars as pl
import pytest

from pipeline.checks.by_clinic import MANY_RUNS, count_by_clinic

CASES = {
    "no rows": ([], []),
    "one row, blank": (["n"], [None]),
    "in runs": (["n", "n", "s", "s", "s", "n"], [1, None, None, 2, 3, None]),
    "many runs": (["n", "s"] * MANY_RUNS, [1, None] * (MANY_RUNS - 1) + [None, 4]),
}


@pytest.mark.parametrize("case", CASES)
def test_rows_and_filled_cells_are_counted(case: str) -> None:
    clinics, values = CASES[case]
    frame = pl.DataFrame(
        {"clinic_id": clinics, "day": values}, schema={"clinic_id": pl.String, "day": pl.Int64}
    )
    wanted = {
        name: (clinics.count(name), sum(clinic == name and value is not None for clinic, value
                                        in zip(clinics, values, strict=True)))
        for name in clinics
    }  # fmt: skip
    found = count_by_clinic(frame, "day")
    assert {name: (rows, filled) for name, rows, filled in found.rows()} == wanted
    assert {name: rows for name, rows, _ in count_by_clinic(frame).rows()} == {
        name: rows for name, (rows, _) in wanted.items()
    }
