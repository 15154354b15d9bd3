"""The invented network: canonical tables of one study, with the truth behind them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.simulate.baseline import SIDES, Baseline
from pipeline.simulate.clinics import CLINIC_IDS
from pipeline.simulate.course import Found, find, lock_day, opposite_day
from pipeline.simulate.draws import labels
from pipeline.simulate.effects import Effects
from pipeline.simulate.ending import Contacts, Ending, contacts_of, end_of
from pipeline.simulate.events import complication_rows, recheck_rows, revision_rows
from pipeline.simulate.latent import Latent, implant_day, reluxation_day
from pipeline.simulate.network import Network, draw_network
from pipeline.simulate.placement import placed
from pipeline.simulate.rows import (
    animal_rows,
    clinic_rows,
    local_animals,
    procedure_rows,
    stifle_rows,
)  # fmt: skip
from pipeline.simulate.technique import BLOCK, WEDGE
from pipeline.simulate.visits import AS_CLINICS, Attendance, attended
from schemas.codebook import CANONICAL_TABLES, KEYS, Variable, of_table, read_codebook


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Simulated:
    """One invented study.

    Attributes
    ----------
    tables
        The nine canonical tables with every column of the codebook, sorted by key.
    potential
        One row per stifle: latent day of reluxation with wedge and with block recession, and
        of an implant complication under each band and wires (infinite: never), whichever was
        used; null where the stifle could not have had that technique.
    """

    tables: Mapping[str, pl.DataFrame]
    potential: pl.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """One followed network as its clinics know it."""

    network: Network
    found: Found
    contacts: Contacts
    ending: Ending


def follow(network: Network, *, effects: Effects, attendance: Attendance = AS_CLINICS) -> Record:
    """Follow every stifle with the technique it had, as its clinic would know of it."""
    baseline, technique, luck = network.baseline, network.technique, network.luck
    latent = Latent(
        reluxation=reluxation_day(luck.fate, baseline, technique, effects=effects),
        implant=implant_day(luck.fate, baseline, technique, effects=effects),
    )
    trouble = np.minimum(latent.reluxation, latent.implant)
    visits = attended(luck.visits, baseline, trouble, attendance)
    found = find(visits, network, latent=latent, effects=effects, horizon=lock_day(baseline))
    contacts = contacts_of(visits, found, luck, baseline)
    others = luck.troubles.other_day
    events = np.column_stack([
        found.reluxation, found.reluxation_revised, found.implant, found.implant_revised,
        found.planned_removal, np.where(others < found.stop, others, np.inf),
    ])  # fmt: skip
    known = np.where(np.isfinite(events), events, -np.inf).max(axis=1)
    ending = end_of(
        np.random.default_rng(network.paperwork), contacts=contacts, known=known,
        baseline=baseline, found=found, luck=luck,
    )  # fmt: skip
    return Record(network=network, found=found, contacts=contacts, ending=ending)


def simulate_study(
    seed: int, n_stifles: int = 900, *, effects: Effects | None = None,
    attendance: Attendance = AS_CLINICS,
) -> Simulated:  # fmt: skip
    """Simulate a study of five clinics.

    Parameters
    ----------
    seed
        Same seed, same study.
    n_stifles
        Operated stifles in all, at least 1.
    effects
        Effects it is made with; the defaults of ``Effects`` if None.
    attendance
        What brings owners back.

    Raises
    ------
    ValueError
        If `n_stifles` is less than 1.
    """
    if n_stifles < 1:
        raise ValueError(f"n_stifles must be at least 1, not {n_stifles}")
    chosen = effects or Effects()
    network = draw_network(
        np.random.SeedSequence(seed), n_stifles, effects=chosen, attendance=attendance
    )
    return Simulated(
        tables=canonical_tables(follow(network, effects=chosen, attendance=attendance)),
        potential=_potential(network, effects=chosen),
    )


def canonical_tables(record: Record) -> dict[str, pl.DataFrame]:
    """Put a followed network into the nine canonical tables."""
    network, found = record.network, record.found
    baseline, troubles = network.baseline, network.luck.troubles
    opposite = opposite_day(found, network.luck, record.contacts.day)
    keys = _keys(baseline)
    rng, places = map(np.random.default_rng, network.paperwork.spawn(2))
    made = {
        "clinics": clinic_rows(),
        "animals": animal_rows(keys, baseline, record.ending),
        "stifles": stifle_rows(keys, baseline, record.ending),
        "procedures": placed(places, procedure_rows(keys, baseline, network.technique)),
        "rechecks": recheck_rows(
            rng, keys, contacts=record.contacts, found=found, opposite=opposite,
            baseline=baseline, troubles=troubles, technique=network.technique,
        ),
        "complications": complication_rows(
            keys, found=found, opposite=opposite, troubles=troubles
        ),
        "revisions": revision_rows(keys, found=found, troubles=troubles),
    }  # fmt: skip
    codebook = read_codebook()
    return {
        table: _complete(made.get(table, pl.DataFrame()), of_table(codebook, table), KEYS[table])
        for table in CANONICAL_TABLES
    }


def _keys(baseline: Baseline) -> pl.DataFrame:
    animals = local_animals(baseline)
    sides = labels(baseline.side, SIDES)
    return pl.DataFrame({
        "clinic_id": labels(baseline.clinic, CLINIC_IDS),
        "local_animal": animals,
        "local_stifle": [f"{animal}:{side}" for animal, side in zip(animals, sides, strict=True)],
    })  # fmt: skip


def _complete(
    made: pl.DataFrame, variables: tuple[Variable, ...], key: tuple[str, ...]
) -> pl.DataFrame:
    columns = {item.name: item.dtype for item in variables}
    frame = made if made.width else pl.DataFrame(schema=columns)
    whole = frame.select(
        (pl.col(name) if name in frame.columns else pl.lit(None)).alias(name) for name in columns
    )
    return whole.sort(key).cast(pl.Schema(columns))  # sorted while words are in their alphabet


def _potential(network: Network, *, effects: Effects) -> pl.DataFrame:
    fate, baseline, technique = network.luck.fate, network.baseline, network.technique
    yes = np.ones(len(baseline.day), dtype=bool)
    recession = np.isin(technique.sulcoplasty, (BLOCK, WEDGE))
    days = {
        f"reluxation_day_{name}": np.where(recession, reluxation_day(
            fate, baseline, technique, effects=effects, block=block), np.nan)
        for name, block in (("wedge", ~yes), ("block", yes))
    } | {
        f"implant_day_{b}_{w}": np.where(technique.pinned, implant_day(
            fate, baseline, technique, effects=effects, band=band, two_wires=two), np.nan)
        for b, band in (("no_band", ~yes), ("band", yes))
        for w, two in (("one_wire", ~yes), ("two_wires", yes))
    }  # fmt: skip
    return _keys(baseline).hstack(pl.DataFrame(days).fill_nan(None))
