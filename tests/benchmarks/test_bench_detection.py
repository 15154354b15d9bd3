"""Why the risk of reluxation by day 365 reads too high: parts of the simulation left out in turn.

Run by ``make bench``, some minutes on two cores. Both arms of the reluxation question, four ways:

- *begun, found*: what is so, of 200,000 simulated stifles under both techniques: the share in
  which reluxation begins by day 365, and in which a planned or other visit has found it by then;
- *incidence*: the cumulative incidence from the day of finding, mean of networks of 900 stifles;
- *followed*: the same with stifles seen free within 28 days before counted as followed to the day;
- *between visits*: Turnbull's estimate, which uses only the visits between which it began.
"""

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.incidence import aalen_johansen, incidence_at
from analysis.turnbull import risk_between, turnbull
from pipeline.simulate.baseline import EARLIER
from pipeline.simulate.effects import Effects
from pipeline.simulate.latent import reluxation_day
from pipeline.simulate.network import draw_network
from pipeline.simulate.technique import BLOCK, WEDGE
from pipeline.simulate.truth import potential_arms
from pipeline.simulate.visits import AS_CLINICS, Attendance

Publish = Callable[[pl.DataFrame, str, str], None]
SEEDS, STIFLES, BATCHES, HORIZON = 100, 200_000, 4, 365
SEEN_WITHIN_DAYS = 28
ARMS = ("wedge_recession", "block_recession")
WAYS = {
    "as simulated": AS_CLINICS,
    "the unwell come no more often": Attendance(unwell_comes=0.0),
    "and bring about no visit": Attendance(unwell_comes=0.0, comes_by_itself=0.0),
    "every planned visit kept": Attendance(every_visit=True),
}


def risks_of(job: tuple[int, str]) -> dict[str, object]:
    """Estimate the risk by day 365 in both arms of one network, both ways."""
    from tests.benchmarks.known_network import known_network

    seed, way = job
    _, cohort = known_network(seed, effects=Effects(), attendance=WAYS[way])
    row: dict[str, object] = {"way": way}
    for arm in ARMS:
        rows = cohort.filter(pl.col("set_b"), pl.col("sulcoplasty_type") == arm)
        found = rows.filter(pl.col("relux_day").is_not_null())
        state = found["relux_state"].replace_strict(
            {"reluxation": 1, "censored": 0}, default=2, return_dtype=pl.Int64
        )
        curve = aalen_johansen(found["relux_day"].to_numpy(), state.to_numpy(), cause=1)
        row[f"incidence {arm}"] = incidence_at(curve, [HORIZON])[0].estimate
        row[f"followed {arm}"] = _followed(found["relux_day"].to_numpy(), state.to_numpy())
        seen = rows.filter(pl.col("relux_left").is_not_null() | pl.col("relux_right").is_not_null())
        fit = turnbull(
            seen["relux_left"].fill_null(0).to_numpy(),
            seen["relux_right"].cast(pl.Float64).fill_null(np.inf).to_numpy(),
        )
        at = risk_between(fit, [HORIZON])[0]
        row[f"between visits {arm}"] = (at.low + at.high) / 2
    return row


def _followed(day: npt.NDArray[Any], state: npt.NDArray[Any]) -> float:
    near = (state == 0) & (day >= HORIZON - SEEN_WITHIN_DAYS) & (day < HORIZON)
    curve = aalen_johansen(np.where(near, HORIZON, day), state, cause=1)
    return incidence_at(curve, [HORIZON])[0].estimate


def what_is_so() -> pl.DataFrame:
    """Give, per arm, the share begun and found by day 365, and the incidence of all followed."""
    rows: list[dict[str, object]] = []
    for batch in range(BATCHES):
        seed = np.random.SeedSequence([1, 3, batch])
        network = draw_network(seed, STIFLES // BATCHES, effects=Effects())
        baseline, technique = network.baseline, network.technique
        asked = (
            ~baseline.cat & (baseline.direction == 0) & (baseline.grade > 1)
            & np.isin(baseline.earlier, [EARLIER.index("none"), EARLIER.index("other")])
            & np.isin(technique.sulcoplasty, (BLOCK, WEDGE))
        )  # fmt: skip
        arms = potential_arms(network, Effects())["relux"][0]
        for name, block, arm in zip(ARMS, (False, True), arms, strict=True):
            begins = reluxation_day(
                network.luck.fate, baseline, technique, effects=Effects(),
                block=np.full(len(baseline.day), block),
            )[asked]  # fmt: skip
            curve = aalen_johansen(np.maximum(arm.day, 1), arm.event.astype(np.int64), cause=1)
            rows.append({
                "arm": name, "begun": float((begins <= HORIZON).mean()),
                "found": float((arm.event & (arm.day <= HORIZON)).mean()),
                "incidence": incidence_at(curve, [HORIZON])[0].estimate,
                "followed": _followed(np.maximum(arm.day, 1), arm.event.astype(np.int64)),
            })  # fmt: skip
    return pl.DataFrame(rows).group_by("arm", maintain_order=True).mean()


def test_what_raises_the_risk_of_reluxation(publish: Publish) -> None:
    so = what_is_so()
    publish(so, f"{STIFLES} stifles under both techniques, every visit kept", "detection_so.md")
    os.environ["POLARS_MAX_THREADS"] = "1"
    jobs = [(seed, way) for way in WAYS for seed in range(1, SEEDS + 1)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = pl.DataFrame(list(pool.map(risks_of, jobs, chunksize=5)))
    wedge, block = ARMS
    difference = pl.col(f"incidence {block}") - pl.col(f"incidence {wedge}")
    followed = pl.col(f"followed {block}") - pl.col(f"followed {wedge}")
    table = found.group_by("way", maintain_order=True).agg(
        pl.exclude("way").mean(), difference=difference.mean(),
        difference_followed=followed.mean(),
        difference_error=difference.std() / SEEDS**0.5,
    )  # fmt: skip
    publish(table, f"Risk by day {HORIZON}, mean of {SEEDS} networks", "detection_ways.md")
    # All are followed to a last visit after day 335: what incidence reads above the share is bias.
    assert (so["incidence"] > so["found"]).all()
