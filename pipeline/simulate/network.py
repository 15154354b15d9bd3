"""Everything drawn for a network of clinics before any follow-up."""

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.baseline import Baseline, draw_baseline
from pipeline.simulate.effects import Effects
from pipeline.simulate.latent import Fate, draw_fate
from pipeline.simulate.technique import Technique, draw_technique
from pipeline.simulate.troubles import Troubles, draw_troubles
from pipeline.simulate.visits import AS_CLINICS, Attendance, VisitDraws, draw_visits


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Luck:
    """All draws that happen after surgery; the same whichever technique is used."""

    fate: Fate
    visits: VisitDraws
    troubles: Troubles


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network:
    """Patients, techniques and luck; `paperwork` seeds what only the files need."""

    baseline: Baseline
    technique: Technique
    luck: Luck
    paperwork: np.random.SeedSequence


def draw_network(
    seed: np.random.SeedSequence, n_stifles: int, *, effects: Effects,
    attendance: Attendance = AS_CLINICS,
) -> Network:  # fmt: skip
    """Draw patients, techniques and luck, each from its own child of `seed`."""
    streams = seed.spawn(6)
    patients, techniques, fate, visits, troubles = map(np.random.default_rng, streams[:5])
    baseline = draw_baseline(patients, n_stifles, effects=effects)
    return Network(
        baseline=baseline,
        technique=draw_technique(techniques, baseline),
        luck=Luck(
            fate=draw_fate(fate, baseline),
            visits=draw_visits(visits, baseline, attendance),
            troubles=draw_troubles(troubles, baseline),
        ),
        paperwork=streams[5],
    )
