"""The demo study's invented files, and invented studies of any size."""

from pathlib import Path

import numpy as np
import polars as pl

from pipeline.simulate.defects.harbour import HARBOUR
from pipeline.simulate.defects.lake import LAKE
from pipeline.simulate.defects.north import NORTH
from pipeline.simulate.defects.plateau import PLATEAU
from pipeline.simulate.defects.valley import VALLEY
from pipeline.simulate.grid import Grid
from pipeline.simulate.planting import plant
from pipeline.simulate.simulated import Simulated
from pipeline.simulate.write import fill_sheets, save_exports
from shared.files import write_csv

DEFECTS = {
    "north": NORTH, "valley": VALLEY, "lake": LAKE, "harbour": HARBOUR, "plateau": PLATEAU,
}  # fmt: skip
DEMO_SEED = 1
DEMO_STIFLES = 900


def damaged_sheets(
    simulated: Simulated, *, seed: int
) -> tuple[dict[str, list[Grid]], pl.DataFrame]:
    """Fill the clinics' sheets and plant the defects; gives the sheets and the defects' list."""
    sheets = fill_sheets(simulated.tables)
    rng = np.random.default_rng(np.random.SeedSequence([seed, 2]))
    return sheets, plant(rng, sheets, DEFECTS)


def write_exports(simulated: Simulated, folder: Path, *, seed: int) -> pl.DataFrame:
    """Write ``folder/exports/…`` with planted defects and their list ``folder/defects.csv``."""
    sheets, defects = damaged_sheets(simulated, seed=seed)
    save_exports(sheets, folder / "exports")
    write_csv(folder / "defects.csv", defects)
    return defects
