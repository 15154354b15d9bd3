"""Study folders with invented exports: the demo's own, and others of any size."""

from importlib.resources import as_file, files
from pathlib import Path

import polars as pl

from pipeline.simulate.demo import DEMO_SEED, DEMO_STIFLES, write_exports
from pipeline.simulate.effects import Effects
from pipeline.simulate.simulated import simulate_study
from pipeline.simulate.truth import true_effects
from shared.errors import InputFileError
from shared.files import write_bytes, write_csv

TRUTH_STIFLES = 1_000_000
OWN_TRUTH_STIFLES = 200_000


def simulate_folder(
    folder: Path,
    *,
    seed: int,
    n_stifles: int,
    effects: Effects | None = None,
    truth_stifles: int = OWN_TRUTH_STIFLES,
) -> list[Path]:
    """Write an invented study: exports, mappings, protocol, planted defects, true effects.

    Parameters
    ----------
    effects
        Effects other than the demo's; then the truth is computed anew.
    truth_stifles
        How many stifles it is computed from.

    Returns
    -------
    list of Path
        The files written, in order.

    Raises
    ------
    InputFileError
        If the folder holds something already.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputFileError(
            str(folder), "the folder holds something else", do="Name an empty or new folder."
        )
    write_exports(simulate_study(seed, n_stifles, effects=effects), folder, seed=seed)
    with as_file(files("shared") / "demo") as source:
        copied = [source / "study.toml", *sorted((source / "mappings").glob("*.toml"))]
        for path in copied:
            write_bytes(folder / path.relative_to(source), path.read_bytes())
        if effects is None:
            write_bytes(folder / "truth.csv", (source / "truth.csv").read_bytes())
        else:
            write_csv(folder / "truth.csv", true_effects(seed, truth_stifles, effects=effects))
    return sorted(path for path in folder.rglob("*") if path.is_file())


def write_demo(folder: Path, *, truth_stifles: int = TRUTH_STIFLES) -> None:
    """Write what of the demo study is simulated: exports, defects.csv and truth.csv."""
    write_exports(simulate_study(DEMO_SEED, DEMO_STIFLES), folder, seed=DEMO_SEED)
    truth: pl.DataFrame = true_effects(DEMO_SEED, truth_stifles)
    write_csv(
        folder / "truth.csv", truth.with_columns(pl.col("estimate", "monte_carlo_error").round(5))
    )
