"""Which animal of the study every animal of a clinic is."""

import numpy as np
import polars as pl

SLOTS_A_ROW = 4  # few rows share one without sharing their hash


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
    # Equal texts have equal hashes: only few rows are left whose texts need to be compared.
    likely = _meeting(codes["token"].hash())
    rows = likely.filter((codes["token"].gather(likely) != "").fill_null(value=False))
    return codes.select(pl.all().gather(rows), row=rows).filter(
        pl.col("token").is_duplicated()
    ).select("row", first=pl.col("row").sort_by("code").first().over("token"))  # fmt: skip


def _meeting(hashes: pl.Series) -> pl.Series:
    """Give the rows that share their hash, looked for among those whose slot is another's too."""
    last = 1 << (SLOTS_A_ROW * len(hashes)).bit_length()
    slots = (hashes.to_numpy() & np.uint64(last - 1)).view(np.int64)
    rows = np.arange(len(slots), dtype=np.uint32)
    owners = np.zeros(last, dtype=np.uint32)
    owners[slots] = rows
    there = owners.take(slots, mode="clip")
    shared = there != rows
    shared[there[shared]] = True
    likely = pl.Series(rows[shared])
    return likely.filter(hashes.gather(likely).is_duplicated())
