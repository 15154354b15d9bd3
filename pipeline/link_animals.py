"""Which animal of the study every animal of a clinic is."""

import numpy as np
import polars as pl

from schemas.rules.repeated import repeated


def number_animals(animals: pl.DataFrame) -> pl.DataFrame:
    """Make one animal of the codes with one link token, at whichever clinics.

    An animal of several codes goes by the first of them in order of names; without a token an
    animal is its own.

    Returns
    -------
    pl.DataFrame
        One row per row of `animals`: animal_id, animal_no (the row of the code it goes by), joined
        (it has several codes).
    """
    codes = animals.select(
        code=pl.format("{}:{}", "clinic_id", "local_animal"),
        token=pl.col("link_token").str.strip_chars(" "),
    )
    shared = _shared(codes)
    numbers = np.arange(animals.height, dtype=np.uint32)
    joined = np.zeros(animals.height, dtype=np.bool_)
    numbers[shared["row"].to_numpy()] = shared["first"].to_numpy()
    joined[shared["row"].to_numpy()] = True
    animal_no = pl.Series(numbers)
    return pl.DataFrame({
        "animal_id": codes["code"].gather(animal_no), "animal_no": animal_no,
        "joined": pl.Series(joined),
    })  # fmt: skip


def _shared(codes: pl.DataFrame) -> pl.DataFrame:
    """Give the rows whose token stands in several, and of each the first row of its token."""
    told = codes.with_row_index("row").filter(pl.col("token") != "")
    return repeated(told, ["token"]).select(
        "row", first=pl.col("row").sort_by("code").first().over("token")
    )
