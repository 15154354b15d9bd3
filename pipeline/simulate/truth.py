"""True effects: what the demo's analyses would find with every stifle under both techniques."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.cox import fit_cox
from pipeline.simulate.baseline import EARLIER
from pipeline.simulate.clinics import CLINICS
from pipeline.simulate.course import Found, find
from pipeline.simulate.draws import BoolArray
from pipeline.simulate.effects import Effects
from pipeline.simulate.latent import Latent, implant_day, reluxation_day
from pipeline.simulate.network import Network, draw_network
from pipeline.simulate.technique import BLOCK, WEDGE
from pipeline.simulate.troubles import BREAKAGE, IRRITATION, MIGRATION, SCREW, WIRE_BREAKAGE
from pipeline.simulate.visits import full_attendance

BATCHES = 20
FEWEST = 10_000
HORIZON = 365
UNION_DAY = 60  # from about this day most osteotomies are seen healed
Arms = tuple["Arm", "Arm"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arm:
    """One technique for all stifles of a population: the day it ends, and whether by the event."""

    day: FloatArray
    event: BoolArray


def true_effects(seed: int, n: int = 1_000_000, *, effects: Effects | None = None) -> pl.DataFrame:
    """Compute the true effects of the three questions from `n` stifles under both techniques.

    The estimands, for each exposure in the population of its primary analysis in the demo's
    plan (dogs, medial luxation, grade 2 to 4, no earlier patellar, cruciate or fracture surgery;
    block or wedge recession, or transposition held with K-wires):

    - *log hazard ratio*: the coefficient of the exposure in the plan's adjusted cause-specific
      Cox model of the day of **detection**, fitted to each stifle under both techniques, so that
      the technique is independent of everything before it. It lies nearer to 0 than the effect
      on the latent hazard, because the frailty of animals and the rechecks blur it.
    - *risk difference*: the share of stifles in which the outcome is **detected** by day 365
      before death, amputation and what else competes in the plan, under the one technique less
      that under the other, over the same stifles.

    Every planned recheck is kept, visits that a problem brings about happen as in the demo, and
    the clinics' data locks are left out. The other techniques stay as they were.

    Returns
    -------
    pl.DataFrame
        Columns question, measure, exposure, reference, estimate, monte_carlo_error, n.

    Raises
    ------
    ValueError
        If `n` is too small for events in every batch.

    Notes
    -----
    The Monte Carlo error is that of the mean of 20 independent batches.
    """
    if n < FEWEST:
        raise ValueError(f"n must be at least {FEWEST}, not {n}")
    chosen = effects or Effects()
    size = -(-n // BATCHES)
    rows: list[dict[str, str | float]] = []
    for batch in range(BATCHES):
        network = draw_network(np.random.SeedSequence([seed, 3, batch]), size, effects=chosen)
        for question, (arms, inside, x) in potential_arms(network, chosen).items():
            rows += [
                {"question": question, "measure": measure, "estimate": value, "n": inside}
                for measure, value in (("log_hazard_ratio", _log_hazard_ratio(arms, x)),
                                       ("risk_difference", _risk_difference(arms)))
            ]  # fmt: skip
    return (
        pl.DataFrame(rows)
        .group_by("question", "measure", maintain_order=True)
        .agg(
            estimate=pl.col("estimate").mean(),
            monte_carlo_error=pl.col("estimate").std() / BATCHES**0.5,
            n=pl.col("n").sum(),
        )
        .with_columns(
            exposure=pl.col("question").replace_strict(
                {name: pair[1] for name, pair in LEVELS.items()}
            ),
            reference=pl.col("question").replace_strict(
                {name: pair[0] for name, pair in LEVELS.items()}
            ),
        )
        .select(
            "question", "measure", "exposure", "reference", "estimate", "monte_carlo_error", "n"
        )
    )


LEVELS: Mapping[str, tuple[str, str]] = {
    "relux": ("wedge_recession", "block_recession"), "band": ("false", "true"),
    "wires": ("1", "2"),
}  # fmt: skip


def potential_arms(network: Network, effects: Effects) -> dict[str, tuple[Arms, int, FloatArray]]:
    """Give per question both arms, the number of stifles, and the covariates (n, p)."""
    baseline, technique = network.baseline, network.technique
    yes = np.ones(len(baseline.day), dtype=bool)
    eligible = (
        ~baseline.cat & (baseline.direction == 0) & (baseline.grade > 1)
        & np.isin(baseline.earlier, [EARLIER.index("none"), EARLIER.index("other")])
    )  # fmt: skip
    recession = eligible & np.isin(technique.sulcoplasty, (BLOCK, WEDGE))
    pinned = eligible & technique.pinned
    shared = _shared(network)
    band, wires = technique.band.astype(np.float64), technique.two_wires.astype(np.float64)
    bridge = np.column_stack([technique.bridge == 1, technique.bridge == 2]).astype(np.float64)
    year = np.floor(2015 + baseline.day / 365.25)
    of = _arms(network, effects)
    return {
        "relux": (
            (of(recession, "relux", block=~yes), of(recession, "relux", block=yes)),
            int(recession.sum()), np.column_stack([shared, year])[recession],
        ),
        "band": (
            (of(pinned, "implant", band=~yes), of(pinned, "implant", band=yes)),
            int(pinned.sum()), np.column_stack([shared, bridge, wires])[pinned],
        ),
        "wires": (
            (of(pinned, "implant", two_wires=~yes), of(pinned, "implant", two_wires=yes)),
            int(pinned.sum()), np.column_stack([shared, bridge, band])[pinned],
        ),
    }  # fmt: skip


def _shared(network: Network) -> FloatArray:
    baseline = network.baseline
    clinics = [baseline.clinic == code for code in range(1, len(CLINICS))]
    return np.column_stack([
        baseline.grade, np.log(baseline.weight_kg), baseline.age_months / 12, *clinics,
    ]).astype(np.float64)  # fmt: skip


def _arms(network: Network, effects: Effects) -> Callable[..., Arm]:
    luck, baseline, technique = network.luck, network.baseline, network.technique
    visits = full_attendance(luck.visits)
    never = np.full(len(baseline.day), np.inf)

    def of(
        inside: BoolArray, outcome: str, *, block: BoolArray | None = None,
        band: BoolArray | None = None, two_wires: BoolArray | None = None,
    ) -> Arm:  # fmt: skip
        latent = Latent(
            reluxation=reluxation_day(luck.fate, baseline, technique, effects=effects, block=block),
            implant=implant_day(
                luck.fate, baseline, technique, effects=effects, band=band, two_wires=two_wires
            ),
        )
        found = find(visits, network, latent=latent, effects=effects, horizon=never, band=band)
        last = np.where(visits < found.stop[:, None], visits, -1).max(
            axis=1, where=np.isfinite(visits), initial=0
        )
        event, other = _event(found, outcome)
        end = np.minimum(np.minimum(event, other), np.maximum(last, 1))
        end = np.where((found.stop <= last + 91) & (event > found.stop) & (other > found.stop),
                       found.stop, end)  # fmt: skip
        end = np.where(event <= np.minimum(other, found.stop), event, end)
        return Arm(day=end[inside], event=(np.isfinite(event) & (event <= end))[inside])

    return of


def _event(found: Found, outcome: str) -> tuple[FloatArray, FloatArray]:
    """Give the day of the outcome and of an operation that competes with it."""
    if outcome == "implant":
        return found.implant, np.minimum(found.planned_removal, found.reluxation_revised)
    heals = np.isin(found.implant_kind, (MIGRATION, BREAKAGE, WIRE_BREAKAGE, SCREW)) & (
        found.implant_revised > UNION_DAY
    )
    no_change = heals | (found.implant_kind == IRRITATION)
    return found.reluxation, np.where(no_change, np.inf, found.implant_revised)


def _log_hazard_ratio(arms: Arms, x: FloatArray) -> float:
    reference, exposed = arms
    exposure = np.repeat([0.0, 1.0], len(x))
    design = np.column_stack([exposure, np.vstack([x, x])])
    fit = fit_cox(
        design, np.concatenate([reference.day, exposed.day]),
        np.concatenate([reference.event, exposed.event]).astype(np.float64), concordance=False,
    )  # fmt: skip
    return float(fit.coefficients[0])


def _risk_difference(arms: Arms) -> float:
    reference, exposed = (float((arm.event & (arm.day <= HORIZON)).mean()) for arm in arms)
    return exposed - reference
