import os
import subprocess
import sys

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from analysis.arrays import BoolArray, FloatArray
from analysis.kernels.logistic import curvature_batch, fit_logistic_batch
from analysis.kernels.logistic_newton import DONE, Newton


def test_batch_of_bootstrap_weights_is_statsmodels_on_the_resampled_rows(
    birthwt: pl.DataFrame,
) -> None:
    rng = np.random.default_rng(5)
    x = np.column_stack([np.ones(189), birthwt.select("smoke", "lwt").to_numpy()])
    x[:, 2] = (x[:, 2] - x[:, 2].mean()) / 30
    y = birthwt["low"].to_numpy().astype(float)
    drawn = rng.integers(0, 189, size=(7, 189))
    weights = np.stack([np.bincount(rows, minlength=189) for rows in drawn], axis=1).astype(float)
    batch = fit_logistic_batch(x, y, weights)
    assert batch.converged.all()
    for column, rows in enumerate(drawn):
        other = sm.Logit(y[rows], x[rows]).fit(disp=False, method="newton", tol=1e-13)
        np.testing.assert_allclose(batch.coefficients[:, column], other.params, rtol=1e-9)


def test_batch_does_not_hang_on_how_columns_are_cut(birthwt: pl.DataFrame) -> None:
    """Many columns take another path through the kernel (products of pairs) than one."""
    x = np.column_stack([np.ones(189), birthwt.select("smoke", "age").to_numpy()])
    y = birthwt["low"].to_numpy().astype(float)
    weights = np.random.default_rng(2).uniform(0, 2, size=(189, 900))
    together = fit_logistic_batch(x, y, weights)
    for column in (0, 450, 899):
        alone = fit_logistic_batch(x, y, weights[:, [column]])
        np.testing.assert_allclose(
            together.coefficients[:, column], alone.coefficients[:, 0], rtol=1e-9
        )


def test_batch_freezes_and_counts_separated_columns() -> None:
    """Column 1 leaves out the one exposed row without the event: nothing finite fits it."""
    x = np.column_stack([np.ones(12), np.r_[np.ones(4), np.zeros(8)]])
    y = np.r_[1.0, 1, 1, 0, 1, 0, 1, 0, 1, 0, 0, 0]
    weights = np.ones((12, 3))
    weights[3, 1] = 0
    batch = fit_logistic_batch(x, y, weights)
    assert batch.converged.tolist() == [True, False, True]
    assert batch.n_diverged == 1
    assert np.isnan(batch.coefficients[:, 1]).all()
    np.testing.assert_allclose(batch.coefficients[1, 0], np.log(3 / 1) - np.log(3 / 5), rtol=1e-9)


def test_column_whose_weights_leave_nothing_to_fit_stops_no_other() -> None:
    x = np.column_stack([np.ones(6), [0.0, 1, 0, 1, 0, 1]])
    y = np.array([0.0, 1, 1, 0, 0, 1])
    weights = np.ones((6, 2))
    weights[x[:, 1] == 1, 1] = 0
    batch = fit_logistic_batch(x, y, weights)
    assert batch.converged.tolist() == [True, False]


def test_large_table_is_worked_in_blocks_to_the_same_result() -> None:
    rng = np.random.default_rng(3)
    n = 40_000
    x = np.column_stack([np.ones(n), rng.normal(size=(n, 3))])
    y = (rng.random(n) < 0.2).astype(float)
    batch = fit_logistic_batch(x, y)
    other = sm.Logit(y, x).fit(disp=False, method="newton", tol=1e-13)
    np.testing.assert_allclose(batch.coefficients[:, 0], other.params, rtol=1e-9)
    log_likelihood, information = curvature_batch(x, y, batch.coefficients)
    assert log_likelihood[0] == pytest.approx(other.llf, rel=1e-12)
    np.testing.assert_allclose(np.linalg.inv(information[:, :, 0]), other.cov_params(), rtol=1e-8)


def test_many_columns_at_once_are_each_column_alone() -> None:
    """Tiles of rows with an offset; column 5 separates, column 7 leaves a term without spread."""
    rng = np.random.default_rng(4)
    n = 601
    x = np.column_stack([np.ones(n), rng.normal(size=(n, 2)), (rng.random(n) < 0.05).astype(float)])
    y = (rng.random(n) < 0.3).astype(float)
    offset, weights = rng.normal(size=n), rng.integers(0, 3, size=(n, 70)).astype(float)
    exposed = x[:, 3] == 1
    weights[exposed & (y == 0), 5] = 0
    weights[exposed, 7] = 0
    together = fit_logistic_batch(x, y, weights, offset=offset)
    assert np.flatnonzero(~together.converged).tolist() == [5, 7]
    assert together.steps == 25
    for column in (0, 31, 32, 69):
        alone = fit_logistic_batch(x, y, weights[:, [column]], offset=offset)
        np.testing.assert_allclose(
            together.coefficients[:, column], alone.coefficients[:, 0], rtol=1e-11
        )


def test_steps_that_keep_the_curvature_end_where_exact_steps_end() -> None:
    """A tolerance of 1e-5 promises an error of about its square."""
    rng = np.random.default_rng(6)
    x = np.column_stack([np.ones(800), rng.normal(size=(800, 4))])
    y = (rng.random(800) < 1 / (1 + np.exp(2 - x[:, 1]))).astype(float)
    weights = rng.multinomial(800, np.full(800, 1 / 800), size=60).T.astype(float)
    start = fit_logistic_batch(x, y).coefficients[:, 0]
    near = fit_logistic_batch(x, y, weights, start=start, tolerance=1e-5).coefficients
    exact = fit_logistic_batch(x, y, weights, tolerance=1e-12).coefficients
    assert np.abs(near - exact).max() < 5e-10


PRINT_FITS = """
import numpy as np
from analysis.kernels.logistic import fit_logistic_batch
rng = np.random.default_rng(1)
x = np.column_stack([np.ones(2_000), rng.normal(size=(2_000, 10))])
y = (rng.random(2_000) < 0.2).astype(float)
weights = rng.uniform(0, 2, size=(2_000, 90))
print(fit_logistic_batch(x, y, weights).coefficients.tobytes().hex())
"""


def test_batch_is_the_same_to_the_byte_on_one_thread_and_on_two() -> None:
    found = {
        subprocess.run(
            [sys.executable, "-c", PRINT_FITS], check=True, capture_output=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": threads},
        ).stdout
        for threads in ("1", "2")
    }  # fmt: skip
    assert len(found) == 1


def test_a_column_thrown_far_away_does_not_arrive_and_warns_nobody() -> None:
    """Near a singular curvature a move may be so large that its square overflows."""

    def sums(
        beta: FloatArray, moving: BoolArray, curved: BoolArray
    ) -> tuple[FloatArray, FloatArray, BoolArray]:
        flat = np.full((int(curved.sum()), 1, 1), 1e-160)
        return np.zeros((1, len(moving))), flat, curved

    newton = Newton(np.zeros((1, 1)), np.ones((1, 1)), 1e-8)
    _, state, _ = newton.fit(np.ones((1, 2)), sums, max_steps=1)
    assert (state != DONE).all()
