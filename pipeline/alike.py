"""Pairs of rows of stifles that may be one operation of one animal under two codes."""

import polars as pl

from pipeline.by_number import put

TOLD = ("clinic_id", "local_animal", "surgery_date", "age_months", "weight_kg", "sex_neuter",
        "row_id", "file", "sheet", "row")  # fmt: skip
NEAR = ("surgery_date", "age_months", "weight_kg")


def alike(
    stifles: pl.DataFrame, animals: pl.DataFrame, clinics: pl.DataFrame,
    *, joints: pl.DataFrame, days: int,
) -> pl.DataFrame:  # fmt: skip
    """Find rows without a shared token that agree in all that is known of them.

    The same species, breed, sex and side, surgery within `days` days, ages within a month and
    weights within 5 percent; one of age and weight may be unknown. Rows without a token are
    compared with the others of the same block only: of species, breed, sex, side and neighbouring
    spans of days. Dates that a clinic shifted are not compared.

    Parameters
    ----------
    joints
        animal_row and animal_no of each row of `stifles`.

    Returns
    -------
    pl.DataFrame
        One row per pair, the first of it by row_id: ``TOLD``, side, species and breed, and those
        of ``TOLD`` of the second row with the prefix "other_".
    """
    without = (pl.col("link_token").str.strip_chars(" ") == "").fill_null(value=True)
    tokenless = animals.select(without).to_series().gather(joints["animal_row"])
    blocks = _blocks(stifles, animals, clinics, joints=joints, days=days)
    neighbours = [blocks.filter(tokenless) + step for step in (-1, 0, 1)]
    rows = blocks.is_in(pl.concat(neighbours).unique().implode()).arg_true()
    compared = stifles.select(*(pl.col(name).gather(rows) for name in NEAR)).with_columns(
        stifle_row=rows, block=blocks.gather(rows), tokenless=tokenless.gather(rows),
        animal_no=joints["animal_no"].gather(rows),
    )  # fmt: skip
    pairs = _pairs(compared, days)
    names = stifles["row_id"]
    turned = names.gather(pairs["one"]) > names.gather(pairs["two"])
    ordered = pairs.select(
        one=pl.when(turned).then("two").otherwise("one"),
        two=pl.when(turned).then("one").otherwise("two"),
    )
    one = _told(stifles, animals, joints, ordered["one"])
    two = _told(stifles, animals, joints, ordered["two"]).select(pl.col(TOLD).name.prefix("other_"))
    return one.hstack(two).sort("row_id", "other_row_id")


def _told(
    stifles: pl.DataFrame, animals: pl.DataFrame, joints: pl.DataFrame, rows: pl.Series
) -> pl.DataFrame:
    own = stifles.select(pl.all().gather(rows))
    animal = animals.select(pl.all().gather(joints["animal_row"].gather(rows)))
    return own.with_columns(
        animal["sex_neuter"], animal["species"], animal["breed"].str.to_lowercase()
    ).select(*TOLD, "side", "species", "breed")


def _blocks(
    stifles: pl.DataFrame, animals: pl.DataFrame, clinics: pl.DataFrame,
    *, joints: pl.DataFrame, days: int,
) -> pl.Series:  # fmt: skip
    """Give each row the block of its species, breed, sex, side and span of days; else null.

    Rows of which one of these is not known are not compared. Neighbouring spans have neighbouring
    numbers; one is to spare at either end, so that no neighbour is of another breed or side.
    """
    shifted = clinics.filter(pl.col("dates_shifted"))["clinic_id"]
    kind = 2 * _kinds(animals).gather(joints["animal_row"])
    span = pl.col("surgery_date").to_physical().cast(pl.Int64) // (days + 1)
    span = span - span.min() + 1
    side = (pl.col("side") == "right").cast(pl.Int64)
    block = (kind + side) * (span.max() + 2) + span
    dated = ~pl.col("clinic_id").is_in(shifted.implode())
    return stifles.select(pl.when(dated).then(block)).to_series()


def _pairs(compared: pl.DataFrame, days: int) -> pl.DataFrame:
    """Pair rows within the tolerances by stifle_row, in columns one and two; each pair once."""
    neighbours = pl.concat_list(pl.col("block") + step for step in (-1, 0, 1))
    own = compared.filter("tokenless").with_columns(block=neighbours).explode("block")
    met = own.join(compared, on="block", suffix="_two")
    apart = {name: (pl.col(name) - pl.col(f"{name}_two")).abs()
             for name in NEAR}  # fmt: skip
    heavier = pl.max_horizontal("weight_kg", "weight_kg_two")
    return met.filter(
        pl.col("animal_no") != pl.col("animal_no_two"),
        ~pl.col("tokenless_two") | (pl.col("stifle_row") < pl.col("stifle_row_two")),
        apart["surgery_date"] <= pl.duration(days=days),
        (apart["age_months"] <= 1).fill_null(value=True),
        (apart["weight_kg"] <= 0.05 * heavier).fill_null(value=True),
        apart["age_months"].is_not_null() | apart["weight_kg"].is_not_null(),
    ).select(one="stifle_row", two="stifle_row_two")


def _kinds(animals: pl.DataFrame) -> pl.Series:
    """Give animals of one species, breed and sex one number; null where one of these is blank."""
    text = pl.col("text")
    species = _numbered(animals["species"], text)
    breed = _numbered(animals["breed"], text.str.to_lowercase())
    sex = _numbered(animals["sex_neuter"], text.str.splitn("_", 2).struct.field("field_0"))
    return (species * _size(breed) + breed) * _size(sex) + sex


def _numbered(texts: pl.Series, meant: pl.Expr) -> pl.Series:
    """Give texts of one meaning one number; each distinct text is read once."""
    coded = texts.cast(pl.Categorical)
    each = coded.unique().drop_nulls()
    meanings = each.cast(pl.String).to_frame("text").select(meant).to_series()
    codes = each.to_physical()
    numbers = put(meanings.rank("dense"), codes, _size(codes))
    return numbers.gather(coded.to_physical()).cast(pl.Int64)


def _size(numbers: pl.Series) -> int:
    highest = numbers.max()
    return highest + 1 if isinstance(highest, int) else 1
