"""Which stifle a row is about, and when that stifle was operated."""

import polars as pl

from pipeline.intake.cells import with_cells
from pipeline.intake.distinct import distinct_rows
from pipeline.intake.mapped import raw_text
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
    if operations is None:
        placed = _nothing_inherited(placed)
    else:
        placed = _from_stifle(_inherit_side(placed, operations), operations)
    animal, side = pl.col("local_animal"), pl.col("side")
    given = pl.col("local_stifle").is_not_null()
    told = given | (animal.is_not_null() & side.is_not_null())
    doubted = pl.any_horizontal(pl.col(f"rule:{item.name}").is_not_null() for item in keys)
    return _with_text(placed).with_columns(
        pl.coalesce(
            "local_stifle",
            pl.concat_str(animal, pl.lit(":"), side.cast(pl.String).fill_null("?")),
        ),
        pl.coalesce("col:local_stifle", "col:side", "col:local_animal").alias("col:local_stifle"),
        pl.when(~told & ~doubted).then(pl.lit(UNPLACED)).otherwise("rule:local_stifle")
        .alias("rule:local_stifle"),
        pl.lit(None, pl.String).alias("miss:local_stifle"),
    )  # fmt: skip


def needs_operations(rows: pl.DataFrame) -> bool:
    """Tell rows with a stifle's own code, or a side to inherit; the others place themselves."""
    codes = rows["local_stifle"].count() if "local_stifle" in rows.columns else 0
    return codes > 0 or rows["sulca:inherit"].any()


def _with_text(placed: pl.DataFrame) -> pl.DataFrame:
    """Let the texts of animal and side stand for that of the stifle where it has none."""
    text = placed.select(
        pl.concat_str("raw:local_animal", "raw:side", separator=" ", ignore_nulls=True)
    ).to_series()
    if (text == "").any():
        text = text.to_frame("text").select(pl.when(pl.col("text") != "").then("text")).to_series()
    own = "raw:local_stifle"
    return placed.with_columns(
        text.alias(own) if not placed[own].count()
        else pl.coalesce(raw_text("local_stifle"), text.alias(own))
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
        return _nothing_inherited(rows)
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


def _nothing_inherited(rows: pl.DataFrame) -> pl.DataFrame:
    return rows.with_columns(pl.lit(value=False).alias("sulca:inherited")).drop("sulca:inherit")


def _from_stifle(rows: pl.DataFrame, operations: pl.DataFrame) -> pl.DataFrame:
    """Where the clinic gives the stifle's own code, take animal and side from the operation."""
    if not rows["local_stifle"].count():
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
    added = others.drop(on)
    if rows.is_empty():
        return rows.with_columns(added.clear())
    if _alike(rows[on], others[on]):
        return rows.with_columns(added)  # each stifle beside its own operation
    places = _places(rows, others[on])
    return rows.with_columns(added.select(pl.all().gather(places)))


def _places(rows: pl.DataFrame, known: pl.Series) -> pl.Series:
    """Give the place of each row's key among those known, which stand once; null where none.

    Rows of one key mostly follow each other, so that it is looked up once.
    """
    found = distinct_rows(rows, [known.name])
    if found is None:
        return _looked_up(rows[known.name], known)
    once = found.rows[known.name]
    return found.places if _alike(once, known) else _looked_up(once, known).gather(found.places)


def _looked_up(keys: pl.Series, known: pl.Series) -> pl.Series:
    numbered = known.to_frame().with_row_index("sulca:place")
    found = keys.to_frame().join(numbered, on=known.name, how="left", maintain_order="left")
    if found.height != keys.len():
        raise AssertionError(f"{known.name} stands twice in the rows that are joined")
    return found["sulca:place"]


def _alike(keys: pl.Series, known: pl.Series) -> bool:
    return not keys.null_count() and keys.equals(known)
