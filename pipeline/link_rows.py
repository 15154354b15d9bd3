"""Rows under numbers: which joint every accepted row is about, and on which day of it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.by_number import put
from pipeline.linked import Below

# What an operation is for its joint, in the order of time.
KINDS = pl.Enum(["earlier", "index", "revision", "reported_twice"])
INDEX = KINDS.categories.to_list().index("index")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """What every row of stifles is for its joint.

    Attributes
    ----------
    frame
        One row per row of stifles: animal_row, animal_no, index_row (of the joint's index
        operation), kind, day (after the index operation), stifle_no (the joint's place in the
        order of stifle ids). Blank where the row has no animal.
    index
        One row per joint, by stifle_no: stifle_id, animal_id, index_row, animal_row, animal_no.
    animals
        For each row of animals: animal_id, animal_no, joined (the animal has several codes).
    """

    frame: pl.DataFrame
    index: pl.DataFrame
    animals: pl.DataFrame

    def at(self, stifle_rows: pl.Series, *columns: str) -> pl.DataFrame:
        """Give columns of `frame` at these rows of stifles."""
        return self.frame.select(columns)[stifle_rows]

    def of_others(self, stifle_rows: pl.Series) -> pl.Series:
        """Give the places, few of all, at which no index operation is named."""
        index = self.frame["kind"] == "index"
        return (~index.gather(stifle_rows)).fill_null(value=True).arg_true()

    def by_index_row(self, below: Below) -> pl.DataFrame:
        """Give the rows of joints with index_row, the row of stifles of the index operation."""
        index_rows = self.index["index_row"].gather(below.stifle_no)
        return below.rows.with_columns(index_row=index_rows).drop_nulls("index_row")


def joint_rows(
    stifles: pl.DataFrame, animals: pl.DataFrame, animal_rows: pl.Series
) -> pl.DataFrame:
    """Give the joint of the study that each row of stifles is about, an animal and a side.

    Parameters
    ----------
    animals
        As ``number_animals`` gives them.
    animal_rows
        For each row of stifles its row of animals.

    Returns
    -------
    pl.DataFrame
        animal_row, animal_no, joint_no; and several: whether the joint has other rows too.
    """
    numbers = animals["animal_no"].gather(animal_rows)
    joints = 2 * numbers + (stifles["side"] == "right").cast(pl.UInt32)
    rows_of_joint = np.bincount(joints.drop_nulls().to_numpy())
    several = pl.Series(rows_of_joint > 1).gather(joints).fill_null(value=False)
    return pl.DataFrame({"animal_row": animal_rows, "animal_no": numbers, "joint_no": joints,
                         "several": several})  # fmt: skip


def number_rows(
    joints: pl.DataFrame, operations: pl.DataFrame, tables: Mapping[str, pl.DataFrame],
    *, animals: pl.DataFrame,
) -> Rows:  # fmt: skip
    """Say what each row of stifles is for its joint, and number the joints.

    Parameters
    ----------
    joints
        As ``joint_rows`` gives them.
    operations
        The table `operations` of SQL, of the joints that have several rows; the one row of any
        other joint is its index operation.
    """
    height = joints.height
    row, kind = operations["stifle_row"], operations["kind"].cast(KINDS).to_physical()
    own = pl.DataFrame({
        "index_row": pl.Series(np.arange(height, dtype=np.uint32)).scatter(
            row, operations["index_row"]),
        "kind": pl.Series(np.full(height, INDEX, dtype=np.uint8)).scatter(row, kind).cat.to(KINDS),
        "day": pl.Series(np.zeros(height, dtype=np.int64)).scatter(row, operations["day"]),
    })  # fmt: skip
    if joints["joint_no"].null_count():
        own = own.select(pl.when(joints["joint_no"].is_not_null()).then(pl.all()))
    frame = joints.select("animal_row", "animal_no").hstack(own)
    index = _in_order((frame["kind"] == "index").arg_true(), joints, tables, animals=animals)
    number = put(
        pl.int_range(index.height, dtype=pl.UInt32, eager=True), index["index_row"], height
    )
    frame = frame.with_columns(stifle_no=number.gather(frame["index_row"]))
    return Rows(frame=frame, index=index, animals=animals)


def _in_order(
    index_rows: pl.Series, joints: pl.DataFrame, tables: Mapping[str, pl.DataFrame],
    *, animals: pl.DataFrame,
) -> pl.DataFrame:  # fmt: skip
    """Give the joints of these index operations in the order of their stifle ids."""
    codes = tables["animals"].select("clinic_id", "local_animal")
    index_rows = _by_animal(index_rows, joints["joint_no"], codes)
    found = joints.select("animal_row", "animal_no", index_row=pl.row_index()).select(
        pl.all().gather(index_rows)
    )
    named = found.select(
        "index_row", "animal_row", "animal_no",
        animal_id=animals["animal_id"].gather(found["animal_row"]),
        side=tables["stifles"]["side"].gather(index_rows),
    )  # fmt: skip
    named = named.select(
        "animal_id", "index_row", "animal_row", "animal_no",
        stifle_id=pl.format("{}:{}", "animal_id", "side"),
    )  # fmt: skip
    return named if named["stifle_id"].is_sorted() else named.sort("stifle_id")


def _by_animal(index_rows: pl.Series, joint_no: pl.Series, codes: pl.DataFrame) -> pl.Series:
    """Put joints in the order of clinics, of codes of animals, and of sides.

    That is the order of stifle ids too, unless a code has a colon: there as here a colon ends the
    animal's name, so that "A-1" comes before "A". The animals are fewer, and their codes shorter.
    """
    clinics = pl.Enum((codes["clinic_id"].unique() + ":").sort().str.strip_suffix(":"))
    of_clinic = codes["clinic_id"].cast(clinics).to_physical().cast(pl.UInt16).to_numpy()
    order = (codes["local_animal"] + ":").arg_sort().to_numpy()
    order = order[np.argsort(of_clinic[order], kind="stable")]
    rank = np.empty(len(order), dtype=np.uint32)
    rank[order] = np.arange(len(order), dtype=np.uint32)
    joint = joint_no.gather(index_rows).to_numpy()
    nobody = len(joint_no)
    rows = np.full(2 * len(order), nobody, dtype=np.uint32)
    rows[2 * rank[joint >> 1] + (joint & 1)] = index_rows.to_numpy()
    return pl.Series(rows[rows != nobody])
