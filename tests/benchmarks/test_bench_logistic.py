# ruff: noqa: T201 - a benchmark prints
"""Logistic kernel against statsmodels and R in one run; prints, asserts agreement and no time."""

import shutil
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
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
options(digits = 12)
d <- as.matrix(read.csv(commandArgs(TRUE)[1])); w <- as.matrix(read.csv(commandArgs(TRUE)[2]))
y <- d[, 1]; x <- cbind(1, d[, -1]); start <- sum(proc.time()[1:2])
for (b in seq_len(ncol(w))) {
  fit <- suppressWarnings(glm.fit(x, y, weights = w[, b], family = binomial()))
}
cat(sum(proc.time()[1:2]) - start)
tight <- glm.control(epsilon = 1e-13)
fit <- suppressWarnings(glm.fit(x, y, w[, b], family = binomial(), control = tight))
cat("", fit$coefficients)
"""

R_ROBUST = """
options(digits = 12)
d <- matrix(readBin("rows.bin", "double", 11e6), ncol = 11)
g <- readBin("animal.bin", "integer", 1e6); y <- d[, 1]; x <- cbind(1, d[, -1])
robust <- function(control) {
  fit <- glm.fit(x, y, family = binomial(), control = control)
  mu <- fit$fitted.values; bread <- chol2inv(fit$qr$qr[1:11, 1:11])
  u <- rowsum(x * (y - mu), g, reorder = FALSE); k <- nrow(u); n <- length(y)
  sqrt(diag(bread %*% crossprod(u) %*% bread * k / (k - 1) * (n - 1) / (n - 11)))
}
bare <- sum(system.time(glm.fit(x, y, family = binomial()))[1:2])
whole <- sum(system.time(robust(glm.control()))[1:2])
cat(bare, whole, robust(glm.control(epsilon = 1e-13)))  # R keeps the weights of an earlier step
"""
PEAK = """
from pathlib import Path
import numpy as np
from analysis.logistic import fit_logistic
rows = np.fromfile("rows.bin").reshape((11, -1))
y, x, animal = rows[0], rows[1:].T, np.fromfile("animal.bin", dtype=np.int32)
fit_logistic(x[:2_000], y[:2_000], cluster=animal[:2_000])
def peak():
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))
before = peak()
fit_logistic(x, y, cluster=animal)
print((peak() - before) / 1024)
"""


def animals(n: int, seed: int) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Ten terms, five of them yes or no, about 10 % events, one or two stifles an animal."""
    rng = np.random.default_rng(seed)
    yes = (rng.random((n, 5)) < [0.5, 0.4, 0.3, 0.5, 0.2]).astype(np.float64)
    x = np.column_stack([rng.normal(size=(n, 5)), yes])
    risk = 1 / (1 + np.exp(-(-2.6 + x @ np.linspace(-0.4, 0.4, 10))))
    return x, (rng.random(n) < risk).astype(np.float64), np.sort(rng.integers(0, int(n * 0.7), n))


def refits(chunk: tuple[FloatArray, FloatArray, FloatArray]) -> FloatArray:
    """What one worker does."""
    design, y, weights = chunk
    start = fit_logistic_batch(design, y).coefficients[:, 0]
    return fit_logistic_batch(design, y, weights, start=start, tolerance=1e-5).coefficients


@pytest.mark.parametrize("n", [2_000, 20_000])
def test_thousand_cluster_bootstrap_refits(n: int, tmp_path: Path) -> None:
    x, y, animal = animals(n, seed=1)
    design = np.column_stack([np.ones(n), x])
    weights = np.concatenate(
        list(cluster_multiplicities(animal, replicates=REPLICATES, seed=1)), axis=1
    )

    def ours() -> FloatArray:
        return refits((design, y, weights))

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
    chunks = [(design, y, weights[:, low : low + 50]) for low in range(0, REPLICATES, 50)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        by_two = list(pool.map(refits, chunks))
    assert np.array_equal(np.concatenate(list(map(refits, chunks)), axis=1), np.hstack(by_two))
    print("  chunks of 50 by one worker and by two: the same to the byte")
    if shutil.which("Rscript"):
        taken, beta = r_loop(np.column_stack([y, x]), weights[:, :few], tmp_path)
        np.testing.assert_allclose(found[:, few - 1], beta, rtol=1e-6, atol=1e-8)
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


def test_one_cluster_robust_fit_of_a_million_rows(tmp_path: Path) -> None:
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
    print(f"  {over_the_data(tmp_path, x, y, animal):.0f} MB over the data")
    if shutil.which("Rscript"):
        bare, whole, errors = r_robust(tmp_path)
        np.testing.assert_allclose(found.std_errors, errors, rtol=1e-6)
        print(f"  R glm.fit without clusters {bare:.2f} s: {bare / mine:.1f} times")
        print(f"  R glm.fit and sandwich by rowsum {whole:.2f} s: {whole / mine:.1f} times")


def over_the_data(folder: Path, x: FloatArray, y: FloatArray, animal: np.ndarray) -> float:
    """Write the data; fit them in a process of their own and give the peak over what they take."""
    np.column_stack([y, x]).ravel(order="F").tofile(folder / "rows.bin")
    animal.astype(np.int32).tofile(folder / "animal.bin")
    done = subprocess.run(
        [sys.executable, "-c", PEAK], cwd=folder, check=True, capture_output=True, text=True
    )
    return float(done.stdout)


def r_robust(folder: Path) -> tuple[float, float, FloatArray]:
    (folder / "robust.R").write_text(R_ROBUST)
    done = subprocess.run(
        ["Rscript", "robust.R"], cwd=folder, check=True, capture_output=True, text=True
    )
    numbers = [float(part) for part in done.stdout.split()]
    return numbers[0], numbers[1], np.array(numbers[2:])
