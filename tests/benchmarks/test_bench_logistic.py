# ruff: noqa: T201 - a benchmark prints
"""Logistic kernel against statsmodels and R in one run; prints, asserts agreement and no time."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm

from analysis.arrays import FloatArray
from analysis.bootstrap import cluster_multiplicities
from analysis.kernels.logistic import fit_logistic_batch
from analysis.logistic import fit_logistic
from tests.benchmarks.clock import seconds

REPLICATES = 1000
R_LOOP = """
d <- as.matrix(read.csv(commandArgs(TRUE)[1])); w <- as.matrix(read.csv(commandArgs(TRUE)[2]))
y <- d[, 1]; x <- cbind(1, d[, -1]); start <- proc.time()[3]
for (b in seq_len(ncol(w))) {
  fit <- suppressWarnings(glm.fit(x, y, weights = w[, b], family = binomial()))
}
cat(proc.time()[3] - start, fit$coefficients)
"""


def animals(n: int, seed: int) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Ten terms, five of them yes or no, about 10 % events, one or two stifles an animal."""
    rng = np.random.default_rng(seed)
    yes = (rng.random((n, 5)) < [0.5, 0.4, 0.3, 0.5, 0.2]).astype(np.float64)
    x = np.column_stack([rng.normal(size=(n, 5)), yes])
    risk = 1 / (1 + np.exp(-(-2.6 + x @ np.linspace(-0.4, 0.4, 10))))
    return x, (rng.random(n) < risk).astype(np.float64), np.sort(rng.integers(0, int(n * 0.7), n))


@pytest.mark.parametrize("n", [2_000, 20_000])
def test_thousand_cluster_bootstrap_refits(n: int, tmp_path: Path) -> None:
    x, y, animal = animals(n, seed=1)
    design = np.column_stack([np.ones(n), x])
    weights = np.concatenate(
        list(cluster_multiplicities(animal, replicates=REPLICATES, seed=1)), axis=1
    )

    def ours() -> FloatArray:
        start = fit_logistic_batch(design, y).coefficients[:, 0]
        batch = fit_logistic_batch(design, y, weights, start=start, tolerance=1e-5)
        return batch.coefficients

    few = 100 if n <= 2_000 else 20
    rows = [np.repeat(np.arange(n), weights[:, b].astype(int)) for b in range(few)]

    def loop() -> FloatArray:
        fits = [sm.Logit(y[r], design[r]).fit(disp=False, method="newton") for r in rows]
        return np.stack([np.asarray(fit.params) for fit in fits], axis=1)

    found, other = ours(), loop()
    np.testing.assert_allclose(found[:, :few], other, rtol=1e-6, atol=1e-8)
    mine = seconds(ours, 5)
    theirs = seconds(loop, 3) * REPLICATES / few
    print(f"\nlogistic bootstrap, n = {n}, {REPLICATES} refits, 10 terms")
    print(
        f"  kernel {mine:.3f} s; statsmodels Logit loop {theirs:.2f} s: {theirs / mine:.1f} times"
    )
    if shutil.which("Rscript"):
        taken, beta = r_loop(np.column_stack([y, x]), weights[:, :few], tmp_path)
        np.testing.assert_allclose(found[:, few - 1], beta, rtol=1e-4, atol=1e-6)
        scaled = taken * REPLICATES / few
        print(f"  R glm.fit loop with weights {scaled:.2f} s: {scaled / mine:.1f} times")


def r_loop(data: FloatArray, weights: FloatArray, folder: Path) -> tuple[float, FloatArray]:
    for name, table in (("data", data), ("weights", weights)):
        head = ",".join(f"v{k}" for k in range(table.shape[1]))
        np.savetxt(folder / f"{name}.csv", table, delimiter=",", header=head, comments="")
    (folder / "loop.R").write_text(R_LOOP)
    done = subprocess.run(
        ["Rscript", "loop.R", "data.csv", "weights.csv"],
        cwd=folder, check=True, capture_output=True, text=True,
    )  # fmt: skip
    numbers = [float(part) for part in done.stdout.split()]
    return numbers[0], np.array(numbers[1:])


def test_one_cluster_robust_fit_of_a_million_rows() -> None:
    x, y, animal = animals(1_000_000, seed=2)
    design = sm.add_constant(x)

    def other() -> FloatArray:
        fit = sm.Logit(y, design).fit(
            disp=False, method="newton", cov_type="cluster", cov_kwds={"groups": animal}
        )
        return np.asarray(fit.bse, dtype=np.float64)

    found = fit_logistic(x, y, cluster=animal)
    np.testing.assert_allclose(found.std_errors, other(), rtol=1e-6)
    mine = seconds(lambda: fit_logistic(x, y, cluster=animal), 3)
    theirs = seconds(other, 3)
    print("\nlogistic, cluster-robust, n = 1,000,000, 10 terms")
    print(f"  ours {mine:.2f} s; statsmodels {theirs:.2f} s: {theirs / mine:.1f} times")
