"""Values of R scripts in tests/oracles, by group and quantity."""

from functools import cache
from pathlib import Path

import polars as pl

from tests.reported import ASKED_OF_R

Values = dict[tuple[str, str], float]
ORACLES = Path(__file__).parents[1] / "oracles"


class RValues(Values):
    """Values of one script that note which of them were asked for."""

    def __init__(self, script: str) -> None:
        super().__init__(read_values(ORACLES / f"{script}.csv"))
        self.script = script

    def __getitem__(self, key: tuple[str, str]) -> float:
        ASKED_OF_R.add((self.script, *key))
        return super().__getitem__(key)


def read_values(path: Path) -> Values:
    frame = pl.read_csv(path, comment_prefix="#")
    return {(group, quantity): value for group, quantity, value in frame.iter_rows()}


@cache
def r_values(script: str) -> RValues:
    """Give the committed values of a script, named without its ending."""
    return RValues(script)
