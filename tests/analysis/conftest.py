"""Published data, and what it takes to agree with a printed number."""

from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from hypothesis import settings

from tests.reported import PRINTED_NUMBERS

# A shared machine is slow at times, and a suite should give the same answer twice.
settings.register_profile("suite", deadline=None, derandomize=True)
settings.load_profile("suite")

ROOT = Path(__file__).parents[2]


def _source(doc: str) -> str:
    """What a test says about where its printed numbers come from."""
    said = [source for source in ("verified", "documentation", "from memory") if source in doc]
    return " and ".join(said) or "not said"


def _agrees(value: float, printed: str) -> bool:
    decimals = len(printed.partition(".")[2])
    return abs(value - float(printed)) <= 0.5 * 10.0**-decimals


@pytest.fixture
def agrees(request: pytest.FixtureRequest) -> Callable[[float, str], bool]:
    """Whether a value lies within half a unit of the last digit of a number as printed."""
    source = _source(request.function.__doc__ or "")

    def counted(value: float, printed: str) -> bool:
        PRINTED_NUMBERS[source] += 1
        return _agrees(value, printed)

    return counted


@pytest.fixture(scope="session")
def birthwt() -> pl.DataFrame:
    """Low birth weight, 189 women, Hosmer & Lemeshow; two indicators of race."""
    frame = pl.read_csv(ROOT / "shared" / "published" / "birthwt.csv")
    race = {name: (pl.col("race") == code).cast(pl.Float64) for name, code in RACES.items()}
    return frame.with_columns(**race)


RACES = {"race2": 2, "race3": 3}


@pytest.fixture(scope="session")
def endometrial() -> pl.DataFrame:
    """Histology grade of 79 women, Heinze & Schemper 2002: NV separates."""
    return pl.read_csv(ROOT / "shared" / "published" / "endometrial.csv")


@pytest.fixture(scope="session")
def oracles() -> Path:
    """Folder with R scripts, their output and their inputs."""
    return ROOT / "tests" / "oracles"
