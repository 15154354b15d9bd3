"""A simulated network as the demo's analyses see it: canonical tables straight to the cohort."""

from dataclasses import replace
from importlib.resources import as_file, files

import polars as pl

from pipeline.cohort import build_cohort
from pipeline.descriptive.arms import included
from pipeline.link import link
from pipeline.simulate.effects import Effects
from pipeline.simulate.simulated import simulate_study
from pipeline.simulate.visits import AS_CLINICS, Attendance
from pipeline.study import Study, read_study


def known_network(
    seed: int, *, effects: Effects, attendance: Attendance = AS_CLINICS
) -> tuple[Study, pl.DataFrame]:
    """Give the demo's study and the cohort of one simulated network, included stifles only."""
    with as_file(files("shared") / "demo") as demo:
        study = replace(read_study(demo), seed=seed)
    made = simulate_study(seed, effects=effects, attendance=attendance).tables
    tables = {name: _addressed(name, frame) for name, frame in made.items()}
    held = pl.DataFrame(
        schema=dict.fromkeys(("clinic_id", "local_stifle", "target", "rule"), pl.String)
    )
    cohort = build_cohort(link(tables, held), study).table
    return study, included(cohort).sort("stifle_id")


def _addressed(name: str, frame: pl.DataFrame) -> pl.DataFrame:
    number = pl.int_range(1, pl.len() + 1)
    return frame.select(
        (pl.lit(f"{name}/") + number.cast(pl.String)).alias("row_id"), file=pl.lit(""),
        sheet=pl.lit(""), row=number, block=pl.lit(""),
    ).hstack(frame).with_columns(derived=pl.lit(value=False))  # fmt: skip
