"""Each table with the columns of the clinic, animal, stifle and procedure its rows belong to."""

from collections.abc import Mapping

import polars as pl

from schemas.codebook import KEYS
from schemas.rules.conditions import ONE_ROW_OF
from schemas.rules.rule import Frames

ANIMAL = KEYS["animals"]
STIFLE = KEYS["stifles"]
RAW = "raw:"


def join_tables(tables: Frames) -> dict[str, pl.DataFrame]:
    """Put beside each row the columns of the rows it belongs to, named ``table.column``.

    The animals' frame has the columns of its stifles as lists. Raw texts are left out.
    """
    plain = {name: _without_raw(frame) for name, frame in tables.items()}
    frames: dict[str, pl.DataFrame] = {}
    for name, frame in plain.items():
        joined = frame
        for other in ONE_ROW_OF.get(name, ()):
            joined = _join(joined, plain, other, of_child="local_animal" not in frame.columns)
        frames[name] = joined
    frames["animals"] = _with_stifle_lists(frames["animals"], plain["stifles"])
    return frames


def _join(frame: pl.DataFrame, plain: Mapping[str, pl.DataFrame], other: str, *, of_child: bool
          ) -> pl.DataFrame:  # fmt: skip
    on = KEYS[other]
    left_on = [f"stifles.{name}" if of_child and name == "local_animal" else name for name in on]
    right = plain[other].unique(on, keep="first", maintain_order=True)
    return frame.join(
        right.rename({name: f"{other}.{name}" for name in right.columns}),
        left_on=left_on, right_on=[f"{other}.{name}" for name in on],
        how="left", maintain_order="left",
    )  # fmt: skip


def _with_stifle_lists(animals: pl.DataFrame, stifles: pl.DataFrame) -> pl.DataFrame:
    others = [name for name in stifles.columns if name not in ANIMAL]
    lists = stifles.group_by(ANIMAL, maintain_order=True).agg(
        pl.col(name).alias(f"stifles.{name}") for name in others
    )
    return animals.join(lists, on=ANIMAL, how="left", maintain_order="left")


def _without_raw(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(name for name in frame.columns if not name.startswith(RAW))
