"""What no check changes, written while the checks go on: texts as received, and what is missing.

It is put in its place with what else a run writes, so that a run that ends early leaves none of it.
"""

import tempfile
from collections.abc import Generator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline.intake.mapped import ADDRESS, RAW
from shared.files import write_parquet

RECEIVED, MISSING = "received", "tables/missing"


@dataclass(slots=True, kw_only=True)
class WrittenAhead:
    """Tables that are being written, by their places below ``out`` without the suffix."""

    _draft: Path
    _hand: ThreadPoolExecutor
    _writing: dict[str, Future[None]] = field(default_factory=dict[str, Future[None]])

    def write(self, mapped: Mapping[str, pl.DataFrame], missing: pl.DataFrame) -> None:
        """Begin to write, one table after the other.

        Parameters
        ----------
        mapped
            The canonical tables as the exports made them: every row, whatever becomes of it.
        missing
            Why cells are empty, with the answers of the clinics.
        """
        frames = {f"{RECEIVED}/{name}": _texts(rows) for name, rows in sorted(mapped.items())}
        self._writing = {
            place: self._hand.submit(write_parquet, self._file(place), frame)
            for place, frame in (frames | {MISSING: missing}).items()
        }

    def put(self, out: Path) -> None:
        """Move each table to its place below `out`; raises what writing it raised."""
        for written in self._writing.values():
            written.result()
        for place in self._writing:
            target = out / f"{place}.parquet"
            target.parent.mkdir(parents=True, exist_ok=True)
            self._file(place).replace(target)

    def _file(self, place: str) -> Path:
        return self._draft / f"{place}.parquet"


@contextmanager
def written_ahead(folder: Path) -> Generator[WrittenAhead]:
    """Make room in a folder for what is written ahead; what was not put in its place is deleted."""
    with (
        tempfile.TemporaryDirectory(prefix=".ahead-", dir=folder) as draft,
        ThreadPoolExecutor(1) as hand,
    ):
        yield WrittenAhead(_draft=Path(draft), _hand=hand)


def _texts(rows: pl.DataFrame) -> pl.DataFrame:
    """Give the address of each row, and under the name of each variable the text behind it."""
    names = [name.removeprefix(RAW) for name in rows.columns if name.startswith(RAW)]
    return rows.select(*ADDRESS, *(pl.col(RAW + name).alias(name) for name in names))
