"""Survival kernels against R, lifelines and a plain sort in one run; no time is asserted."""

import shutil
import subprocess
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from lifelines import CoxPHFitter
from pandas import DataFrame

from analysis.arrays import BoolArray, FloatArray, IntArray
from analysis.cox import fit_cox
from analysis.incidence import aalen_johansen
from analysis.kernels.cox import fit_cox_batch, prepare_cox
from analysis.standardise_incidence import CauseModel, standardised_incidence
from analysis.survival import kaplan_meier, log_rank
from tests.benchmarks.clock import seconds

Publish = Callable[[pl.DataFrame, str, str], None]
REPLICATES, LIFELINES_REFITS, R_REFITS = 1000, 15, 100
R_FITS = """
suppressMessages(library(survival))
d <- read.csv(commandArgs(TRUE)[1]); y <- Surv(d$time, d$event); x <- as.matrix(d[, 3:12])
second <- function(work) median(sapply(1:3, function(k) sum(system.time(work())[1:2])))
bare <- function() coxph.fit(x, y, NULL, NULL, NULL, coxph.control(), NULL, "efron", NULL)
cat(second(function() fit <<- coxph(y ~ x)), second(bare), coef(fit))
"""
R_LOOP = """
suppressMessages(library(survival))
d <- read.csv(commandArgs(TRUE)[1]); w <- as.matrix(read.csv(commandArgs(TRUE)[2]))
y <- Surv(d$time, d$event); x <- as.matrix(d[, 3:12]); start <- sum(proc.time()[1:2])
for (b in seq_len(ncol(w))) {
  k <- w[, b] > 0
  fit <- coxph.fit(x[k, ], y[k, ], NULL, NULL, NULL, coxph.control(), w[k, b], "efron", NULL)
}
cat(sum(proc.time()[1:2]) - start, fit$coefficients)
"""


def stifles(n: int, seed: int = 0) -> tuple[FloatArray, FloatArray, BoolArray, IntArray]:
    """Ten terms, whole days 1 to 1500, about 15 % events, one or two stifles an animal."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, 10))
    x[:, 5:] = x[:, 5:] > 0.3
    event_day = rng.exponential(9000 * np.exp(-x @ np.linspace(-0.4, 0.4, 10)))
    lost = rng.uniform(1, 1500, n)
    day = np.minimum(np.ceil(np.minimum(event_day, lost)), 1500)
    return x, day, event_day <= lost, np.sort(rng.integers(0, int(n * 0.7), n))


def r_seconds(script: str, *files: Path) -> list[float] | None:
    """What an R script prints; None without R or its package survival."""
    if shutil.which("Rscript") is None:
        return None
    program = files[0].with_suffix(".R")
    program.write_text(script, "utf-8")
    done = subprocess.run(["Rscript", program, *files], capture_output=True, text=True, check=False)
    return [float(part) for part in done.stdout.split()] if done.returncode == 0 else None


def write_rows(path: Path, x: FloatArray, day: FloatArray, event: BoolArray) -> Path:
    columns = {"time": day, "event": event.astype(int)}
    columns |= {f"x{place}": column for place, column in enumerate(x.T)}
    pl.DataFrame(columns).write_csv(path)
    return path


def test_one_large_cox_fit(tmp_path: Path, publish: Publish) -> None:
    """Aim: robust at most a quarter of coxph() without; 1.5 and 2 times the bare coxph.fit."""
    x, day, event, animal = stifles(200_000)
    plain = seconds(lambda: fit_cox_batch(prepare_cox(day, event, x)), 5)
    robust = seconds(lambda: fit_cox(x, day, event, cluster=animal, concordance=False), 5)
    whole = seconds(lambda: fit_cox(x, day, event, cluster=animal), times=3)
    rows: list[tuple[str, float, float | None, float | None]] = [
        ("kernel: sort and fit", plain, None, None),
        ("fit_cox, cluster-robust", robust, None, None),
        ("fit_cox, cluster-robust, concordance", whole, None, None),
    ]
    found = r_seconds(R_FITS, write_rows(tmp_path / "rows.csv", x, day, event))
    if found:
        full, bare = found[:2]
        fit = fit_cox(x, day, event, concordance=False)
        assert fit.coefficients == pytest.approx(found[2:], rel=1e-5)
        rows = [(name, taken, full / taken, taken / bare) for name, taken, _, _ in rows]
        rows += [("R coxph()", full, 1.0, full / bare), ("R coxph.fit", bare, full / bare, 1.0)]
    table = pl.DataFrame(
        rows, schema=["what", "seconds", "coxph() over it", "it over coxph.fit"], orient="row"
    )
    publish(table, "Cox, 200,000 stifles, 10 terms", "bench_cox_large.md")


def refits(weights: FloatArray) -> tuple[float, FloatArray]:
    """What one worker does with its weight vectors, nothing kept from before; and its seconds."""
    begun = time.process_time()
    x, day, event, _ = stifles(2_000, seed=1)
    data = prepare_cox(day, event, x)
    start = fit_cox_batch(data).beta[:, 0]
    beta = fit_cox_batch(data, weights, start=start, tolerance=1e-5).beta
    return time.process_time() - begun, beta


def by_two_workers(weights: FloatArray) -> tuple[float, float, FloatArray]:
    """Seconds on the wall and of the busier of two warm workers, and what they found."""
    halves = [weights[:, : REPLICATES // 2], weights[:, REPLICATES // 2 :]]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        runs: list[tuple[float, float, FloatArray]] = []
        for _ in range(4):
            start = time.perf_counter()
            (first, left), (second, right) = pool.map(refits, halves)
            wall = time.perf_counter() - start
            runs.append((max(first, second), wall, np.concatenate((left, right), axis=1)))
    busy, walls, found = zip(*runs[1:], strict=True)
    return float(np.median(walls)), float(np.median(busy)), found[0]


def test_thousand_cluster_bootstrap_refits_of_cox(tmp_path: Path, publish: Publish) -> None:
    """Aim: 100 times lifelines in a loop; R's coxph.fit twice, with two workers three times."""
    x, day, event, animal = stifles(2_000, seed=1)
    present, code = np.unique(animal, return_inverse=True)
    share = np.full(len(present), 1 / len(present))
    drawn = np.random.default_rng(1).multinomial(len(present), share, size=REPLICATES)
    weights = drawn.T[code].astype(float)
    data = prepare_cox(day, event, x)

    def ours() -> FloatArray:
        start = fit_cox_batch(data).beta[:, 0]
        return fit_cox_batch(data, weights, start=start, tolerance=1e-5).beta

    own = seconds(ours, times=3)
    wall, busier, found_by_two = by_two_workers(weights)
    assert np.abs(found_by_two - ours()).max() < 1e-12
    rows = [
        ("kernel, 1,000 weight vectors at once", own, 1.0),
        ("the same by two workers, the busier one", busier, busier / own),
        ("the same by two workers, on the wall", wall, wall / own),
    ]
    frame = DataFrame(dict(zip(map(str, range(10)), x.T, strict=True))).assign(t=day, e=event)
    start = time.process_time()
    for sample in range(LIFELINES_REFITS):
        kept = weights[:, sample] > 0
        CoxPHFitter().fit(
            frame[kept].assign(w=weights[kept, sample]), "t", "e", weights_col="w", robust=True
        )
    taken = (time.process_time() - start) * REPLICATES / LIFELINES_REFITS
    rows.append((f"lifelines, weights ({LIFELINES_REFITS} refits, scaled)", taken, taken / own))
    pl.DataFrame(weights[:, :R_REFITS]).write_csv(tmp_path / "weights.csv")
    found = r_seconds(
        R_LOOP, write_rows(tmp_path / "rows.csv", x, day, event), tmp_path / "weights.csv"
    )
    if found:
        taken = found[0] * REPLICATES / R_REFITS
        rows.append((f"R coxph.fit, weights ({R_REFITS} refits, scaled)", taken, taken / own))
        rows.append(("the same, over the busier of two workers", taken, taken / busier))
        assert ours()[:, R_REFITS - 1] == pytest.approx(found[1:], rel=1e-5, abs=1e-6)
    table = pl.DataFrame(rows, schema=["what", "seconds", "over ours"], orient="row")
    publish(table, "1,000 cluster-bootstrap refits of Cox, 2,000 stifles", "bench_cox_refits.md")


def test_curves_of_a_million_stifles(publish: Publish) -> None:
    """Aim: each in at most a fifth of one stable argsort of the days as int64."""
    rng = np.random.default_rng(2)
    n = 1_000_000
    day = rng.integers(1, 1501, n).astype(float)
    state = rng.choice(3, n, p=[0.85, 0.1, 0.05])
    event, arm = (state == 1).astype(float), rng.integers(0, 2, n)
    whole = day.astype(np.int64)
    sort = seconds(lambda: np.argsort(whole, kind="stable"), 5)
    rows = [("stable argsort, int64", 1000 * sort, 1.0)]
    for name, work in (
        ("Kaplan-Meier with Greenwood", lambda: kaplan_meier(day, event)),
        ("Aalen-Johansen, two causes, with variance", lambda: aalen_johansen(day, state, cause=1)),
        ("log-rank, two groups", lambda: log_rank(day, event, arm)),
    ):
        taken = seconds(work, 5)
        rows.append((name, 1000 * taken, taken / sort))
    table = pl.DataFrame(rows, schema=["what", "ms", "over the sort"], orient="row")
    publish(table, "Curves of 1,000,000 stifles, whole days", "bench_curves.md")


def test_growth_with_the_number_of_stifles(publish: Publish) -> None:
    """Aim: linear up to a million."""
    rows: list[tuple[int, float, float]] = []
    for n in (10_000, 100_000, 1_000_000):
        x, day, event, animal = stifles(n, seed=3)
        taken = seconds(
            lambda x=x, day=day, event=event, animal=animal: fit_cox(
                x, day, event, cluster=animal, concordance=False
            ),
            times=3 if n < 1_000_000 else 1,
        )
        rows.append((n, taken, 1e6 * taken / n))
    table = pl.DataFrame(rows, schema=["n", "seconds", "microseconds a stifle"], orient="row")
    publish(table, "Cluster-robust Cox by number of stifles", "bench_cox_growth.md")


def test_standardised_incidence_with_its_interval(publish: Publish) -> None:
    """A study of 900 stifles, 8 terms: two models, two arms, three days."""
    x, day, event, animal = stifles(900, seed=4)
    x = x[:, 2:]
    x[:, 0] = x[:, 0] > 0
    state = np.where(event, np.random.default_rng(4).choice([1, 1, 1, 2], 900), 0)
    arms = {str(level): np.column_stack((np.full(900, float(level)), x[:, 1:])) for level in (0, 1)}
    models = [
        CauseModel(fit=fit_cox(x, day, state == cause, cluster=animal), arms=arms)
        for cause in (1, 2)
    ]
    rows: list[tuple[str, float, float]] = []
    for interval in ("jackknife", "bootstrap"):

        def work(interval: str = interval) -> float:
            found = standardised_incidence(
                models[0], models[1], days=(91, 183, 365), reference="0", seed=1,
                interval="jackknife" if interval == "jackknife" else "bootstrap",
            )  # fmt: skip
            return found.differences[2].std_error

        rows.append((interval, seconds(work, times=3), work()))
    table = pl.DataFrame(
        rows, schema=["interval", "seconds", "error of the difference"], orient="row"
    )
    publish(table, "Standardised risks of 900 stifles, 500 refits", "bench_standardised.md")
    assert rows[0][2] == pytest.approx(rows[1][2], rel=0.15)
