"""Which stifle a row is about, and when that stifle was operated."""

import polars as pl

from pipeline.intake.cells import with_cells
from schemas.codebook import Variable
from schemas.rules.repeated import repeated

UNPLACED = "M06"


def place_rows(
    rows: pl.DataFrame, keys: tuple[Variable, ...], operations: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Fill local_animal, side and local_stifle, and say where that cannot be done.

    Parameters
    ----------
    rows
        Working rows with some of the cells of local_animal, side and local_stifle.
    keys
        Declarations of these three.
    operations
        One row per operated stifle (see `index_operations`). Where the column "sulca:inherit"
        is true and the side is blank, it is taken from the animal's only operated stifle.
    """
    placed = with_cells(rows, keys)
    if operations is not None:
        placed = _from_stifle(_inherit_side(placed, operations), operations)
    animal, side = pl.col("local_animal"), pl.col("side")
    given = pl.col("local_stifle").is_not_null()
    told = given | (animal.is_not_null() & side.is_not_null())
    doubted = pl.any_horizontal(pl.col(f"rule:{item.name}").is_not_null() for item in keys)
    raw = pl.concat_str("raw:local_animal", "raw:side", separator=" ", ignore_nulls=True)
    return placed.with_columns(
        pl.coalesce("local_stifle", pl.concat_str(animal, pl.lit(":"), side.fill_null("?"))),
        pl.coalesce("raw:local_stifle", pl.when(raw != "").then(raw)).alias("raw:local_stifle"),
        pl.coalesce("col:local_stifle", "col:side", "col:local_animal").alias("col:local_stifle"),
        pl.when(~told & ~doubted).then(pl.lit(UNPLACED)).otherwise("rule:local_stifle")
        .alias("rule:local_stifle"),
        pl.lit(None, pl.String).alias("miss:local_stifle"),
    )  # fmt: skip


def index_operations(stifles: pl.DataFrame) -> pl.DataFrame:
    """Give one row per operated stifle: the date of its first operation, and its animal's others.

    Returns
    -------
    pl.DataFrame
        local_stifle, local_animal, side, this, first, last, left, right (dates), n_stifles.
    """
    animal, keys = "local_animal", ["local_animal", "side", "local_stifle"]
    known = stifles.drop_nulls(keys) if sum(stifles[keys].null_count().row(0)) else stifles
    if repeated(known, ["local_stifle"]).height:
        stifles = known.group_by("local_stifle", maintain_order=True).agg(
            pl.col(animal).first(), pl.col("side").first(), this=pl.col("surgery_date").min()
        )
    else:
        stifles = known.select("local_stifle", animal, "side", this="surgery_date")
    one, all_one = ~pl.col(animal).is_duplicated(), repeated(stifles, [animal]).is_empty()
    this = pl.col("this")
    alone = (stifles if all_one else stifles.filter(one)).with_columns(
        first=this, last=this,
        left=pl.when(side="left").then(this), right=pl.when(side="right").then(this),
        n_stifles=pl.lit(1, pl.UInt32),
    )  # fmt: skip
    if all_one:
        return alone
    several = stifles.filter(~one).with_columns(
        first=this.min().over(animal),
        last=this.max().over(animal),
        left=this.filter(pl.col("side") == "left").first().over(animal),
        right=this.filter(pl.col("side") == "right").first().over(animal),
        n_stifles=pl.len().over(animal),
    )
    return pl.concat([several, alone])


def _inherit_side(rows: pl.DataFrame, operations: pl.DataFrame) -> pl.DataFrame:
    """Take a blank side from the animal's only operated stifle, where the mapping says so."""
    if not rows["sulca:inherit"].any():
        none = pl.lit(value=False).alias("sulca:inherited")
        return rows.with_columns(none).drop("sulca:inherit")
    only = operations.filter(pl.col("n_stifles") == 1).select(
        "local_animal", pl.col("side").alias("sulca:side")
    )
    inherits = (
        pl.col("sulca:inherit") & pl.col("side").is_null()
        & pl.col("miss:side").is_not_null() & pl.col("sulca:side").is_not_null()
    )  # fmt: skip
    return (
        with_joined(rows, only, on="local_animal")
        .with_columns(inherits.alias("sulca:inherited"))
        .with_columns(
            pl.when("sulca:inherited").then("sulca:side").otherwise("side").alias("side"),
        )
        .drop("sulca:side", "sulca:inherit")
    )


def _from_stifle(rows: pl.DataFrame, operations: pl.DataFrame) -> pl.DataFrame:
    """Where the clinic gives the stifle's own code, take animal and side from the operation."""
    if rows["local_stifle"].null_count() == rows.height:
        return rows
    known = operations.select(
        "local_stifle", pl.col("local_animal").alias("sulca:animal"),
        pl.col("side").alias("sulca:side"),
    )  # fmt: skip
    return (
        with_joined(rows, known, on="local_stifle")
        .with_columns(
            pl.coalesce("local_animal", "sulca:animal"), pl.coalesce("side", "sulca:side")
        )
        .drop("sulca:animal", "sulca:side")
    )


def with_joined(rows: pl.DataFrame, others: pl.DataFrame, *, on: str) -> pl.DataFrame:
    """Put beside each row the one row of `others` with its key.

    A join of whole frames would copy every column, and give room to those that take none.
    """
    if rows[on].equals(others[on]) and not rows[on].null_count():
        return rows.with_columns(others.drop(on))  # each stifle beside its own operation
    joined = rows.select(on).join(others, on=on, how="left", maintain_order="left")
    if joined.height != rows.height:
        raise AssertionError(f"{on} stands twice in the rows that are joined")
    return rows.with_columns(joined.drop(on))
