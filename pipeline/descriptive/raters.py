"""Do the raters of a study's images agree? From the readings of the table of measurements."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import polars as pl

from analysis.agreement import intraclass_correlation, limits_of_agreement, weighted_kappa
from analysis.repeatability import repeatability
from shared.estimate import Estimate
from shared.files import as_text

RATIO = "osteotomy_ratio"
PARTS = ("osteotomy_depth_mm", "tibial_depth_mm")
CLASSES = ("shallow", "usual", "deep")  # the ratio under, inside and over 0.25 to 0.42
USUAL_RATIO = (0.25, 0.42)
FEWEST = 3  # images that all raters of a panel must have read
READING = ("image", "animal_id", "rater_id", "read_no", "measure", "value")


def readings_of(measurements: pl.DataFrame, stifles: pl.DataFrame) -> pl.DataFrame:
    """Give the readings of `stifles`, with the osteotomy depth ratio of each reading beside them.

    A length in mm read without a scale is left out; a ratio of two lengths needs none.
    """
    rows = (
        as_text(measurements.filter(pl.col("value").is_not_null()))
        .join(stifles.select("stifle_id", owner="animal_id"), on="stifle_id", how="inner")
        .with_columns(
            image=pl.concat_str("clinic_id", "image_id", separator="/"), animal_id="owner"
        )
    )
    depth, tibia = (rows.filter(pl.col("measure") == part) for part in PARTS)
    key = ["image", "animal_id", "rater_id", "read_no"]
    ratio = depth.join(tibia.filter(pl.col("value") > 0), on=key, suffix="_whole").with_columns(
        measure=pl.lit(RATIO), value=pl.col("value") / pl.col("value_whole")
    )
    scaled = pl.col("calibrated").fill_null(value=True) | ~pl.col("measure").str.ends_with("_mm")
    both = pl.concat([rows.filter(scaled).select(READING), ratio.select(READING)])
    return both.sort("measure", "image", "rater_id", "read_no")


def rater_agreement(readings: pl.DataFrame) -> Iterator[Estimate]:
    """Give, by measure (`term`), how far raters agree, and each with itself (analysis "raters").

    The panel of a measure is the set of raters whose common images hold the most readings; images
    of two raters or more that not all of the panel read are left out (`n_dropped`). Each rater's
    readings of an image are averaged. Pairs of raters stand in `level`; of the osteotomy depth
    ratio the kappa is that of three classes.
    """
    for measure in readings["measure"].unique(maintain_order=True).to_list():
        own = readings.filter(pl.col("measure") == measure)
        base = Estimate(analysis="raters", term=measure, measure="", confidence=0.95)
        yield from _between(base, own)
        yield from _within(base, own)


def _between(base: Estimate, own: pl.DataFrame) -> Iterator[Estimate]:
    means = own.group_by("image", "animal_id", "rater_id", maintain_order=True).agg(
        pl.col("value").mean()
    )
    panel = _panel(means)
    if not panel:
        return
    wide = means.pivot("rater_id", index=["image", "animal_id"], values="value").sort("image")
    together = wide.drop_nulls(panel)
    several = means.filter(pl.len().over("image") > 1)["image"].n_unique()
    values = together.select(panel).to_numpy()
    base = replace(
        base, n=len(together), n_dropped=several - len(together),
        clusters=together["animal_id"].n_unique(),
    )  # fmt: skip
    if base.clusters != base.n:
        base = replace(base, concerns=("clusters_ignored",))
    yield from _correlations(base, values)
    for one, other in combinations(range(len(panel)), 2):
        pair = replace(base, level=f"{panel[one]} / {panel[other]}")
        yield from _limits(pair, values[:, one], values[:, other])
        if base.term == RATIO:
            yield _kappa(pair, values[:, one], values[:, other])


def _panel(means: pl.DataFrame) -> list[str]:
    """Give the raters whose common images hold the most readings; of as many, the larger panel."""
    sets = means.group_by("image").agg(pl.col("rater_id").unique().sort())["rater_id"].to_list()
    panels = sorted({tuple(raters) for raters in sets if len(raters) > 1})
    images = {panel: sum(set(panel) <= set(raters) for raters in sets) for panel in panels}
    able = [panel for panel in panels if images[panel] >= FEWEST]
    best = max(able, key=lambda panel: (images[panel] * len(panel), len(panel)), default=())
    return list(best)


def _correlations(base: Estimate, values: np.ndarray) -> Iterator[Estimate]:
    method = f"two-way random, absolute agreement, {values.shape[1]} raters"
    base = replace(base, measure="intraclass_correlation", method=method)
    if np.ptp(values) == 0:
        yield replace(base, state="one rater", concerns=(*base.concerns, "not_identified"))
        return
    found = intraclass_correlation(values)
    yield replace(base, state="one rater", estimate=found.single, low=found.low, high=found.high)
    yield replace(base, state="mean of raters", estimate=found.mean, confidence=None)


def _limits(base: Estimate, one: np.ndarray, other: np.ndarray) -> Iterator[Estimate]:
    found = limits_of_agreement(one, other)
    base = replace(base, method="Bland and Altman")
    for measure, numbers in (
        ("mean_difference", (found.bias, found.bias_low, found.bias_high)),
        ("lower_limit_of_agreement", (found.lower, found.lower_low, found.lower_high)),
        ("upper_limit_of_agreement", (found.upper, found.upper_low, found.upper_high)),
    ):
        yield replace(base, measure=measure, estimate=numbers[0], low=numbers[1], high=numbers[2])


def _kappa(base: Estimate, one: np.ndarray, other: np.ndarray) -> Estimate:
    rated = [[CLASSES[place] for place in _class(values)] for values in (one, other)]
    found = weighted_kappa(rated[0], rated[1], categories=CLASSES)
    base = replace(base, measure="weighted_kappa", state="classes",
                   method="quadratic weights; under 0.25, to 0.42, over 0.42")  # fmt: skip
    if not np.isfinite(found.estimate):
        return replace(base, concerns=(*base.concerns, "not_identified"))
    return replace(
        base, estimate=found.estimate, std_error=found.std_error, low=found.low, high=found.high
    )


def _class(values: np.ndarray) -> Sequence[int]:
    low, high = USUAL_RATIO
    return [0 if value < low else 1 if value <= high else 2 for value in values.tolist()]


def _within(base: Estimate, own: pl.DataFrame) -> Iterator[Estimate]:
    """Give the repeatability of each rater who read images twice: first against second."""
    twice = own.pivot("read_no", index=["image", "rater_id"], values="value", sort_columns=True)
    if not {"1", "2"} <= set(twice.columns):
        return
    both = twice.drop_nulls(["1", "2"])
    for rater in both["rater_id"].unique().sort().to_list():
        pairs = both.filter(pl.col("rater_id") == rater)
        found = repeatability(pairs["1"].to_numpy(), pairs["2"].to_numpy())
        yield replace(
            base, level=f"{rater} / {rater}", measure="repeatability", estimate=found.estimate,
            n=found.n, method="Bland and Altman: 1.96 SD of the differences of two readings",
        )  # fmt: skip
