"""The texts behind the canonical rows, as received: written while the checks go on.

They are put in their place with what else a run writes, so that a run that ends early leaves none.
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

NOT_KEPT = ("age_months",)  # what stands behind an age may be the whole date of birth


@dataclass(slots=True, kw_only=True)
class ReceivedTexts:
    """Tables of texts, one row for each row that the exports made, whatever became of it."""

    _draft: Path
    _hand: ThreadPoolExecutor
    _writing: list[Future[None]] = field(default_factory=list[Future[None]])

    def write(self, tables: Mapping[str, pl.DataFrame]) -> None:
        """Begin to write the texts of mapped tables beside what else is done."""
        self._writing = [
            self._hand.submit(write_parquet, self._draft / f"{name}.parquet", _texts(rows))
            for name, rows in sorted(tables.items())
        ]

    def put(self, folder: Path) -> None:
        """Move what was written to its folder, table by table; raises what writing it raised."""
        for written in self._writing:
            written.result()
        folder.mkdir(parents=True, exist_ok=True)
        for table in sorted(self._draft.iterdir()):
            table.replace(folder / table.name)


@contextmanager
def received_texts(folder: Path) -> Generator[ReceivedTexts]:
    """Make room in a folder for the texts of a run, and leave it empty where they are not put."""
    with (
        tempfile.TemporaryDirectory(prefix=".received-", dir=folder) as draft,
        ThreadPoolExecutor(1) as hand,
    ):
        yield ReceivedTexts(_draft=Path(draft), _hand=hand)


def _texts(rows: pl.DataFrame) -> pl.DataFrame:
    """Give the address of each row, and under the name of each variable the text behind it."""
    names = [name.removeprefix(RAW) for name in rows.columns if name.startswith(RAW)]
    kept = (pl.col(RAW + name).alias(name) for name in names if name not in NOT_KEPT)
    return rows.select(*ADDRESS, *kept)
