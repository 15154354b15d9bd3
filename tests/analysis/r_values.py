"""Values of R scripts in tests/oracles, by group and quantity."""

from functools import cache
from pathlib import Path

import polars as pl

Values = dict[tuple[str, str], float]
ORACLES = Path(__file__).parents[1] / "oracles"


def read_values(path: Path) -> Values:
    frame = pl.read_csv(path, comment_prefix="#")
    return {(group, quantity): value for group, quantity, value in frame.iter_rows()}


@cache
def r_values(script: str) -> Values:
    """Give the committed values of a script, named without its ending."""
    return read_values(ORACLES / f"{script}.csv")
