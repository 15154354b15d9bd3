"""Rows that repeat an animal become one only where one of them says all that is known."""

from collections.abc import Sequence

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.animals import fold_animals
from schemas.codebook import of_table, read_codebook

SAYS = ("species", "breed")
VARIABLES = [item for item in of_table(read_codebook(), "animals")
             if item.name in ("local_animal", "clinic_id", *SAYS)]  # fmt: skip
Row = tuple[str | None, str | None, str | None]

animal = st.sampled_from(["a", "b", None])
cell = st.sampled_from(["x", "x", "y", None])


def wanted(rows: Sequence[Row]) -> list[int]:
    """Say for each row by itself whether it stays."""
    kept: list[int] = []
    for place, (name, *cells) in enumerate(rows):
        own = [(other, told) for other, (key, *told) in enumerate(rows) if key == name]
        known = [{told[part] for _, told in own} - {None} for part in range(len(SAYS))]
        everything = sum(map(bool, known))
        full = [other for other, told in own if len(told) - told.count(None) == everything]
        if name is None or len(own) == 1:
            kept.append(place)
        elif full and all(len(said) < 2 for said in known):
            kept += [place] if place == full[0] else []
        else:
            kept += [place] if place == next(at for at, told in own if told == cells) else []
    return kept


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(animal, cell, cell), max_size=7))
def test_the_fullest_row_stays_and_every_row_that_says_something_else(rows: list[Row]) -> None:
    frame = pl.DataFrame(rows, schema=["local_animal", *SAYS], orient="row").cast(pl.String)
    frame = frame.with_row_index("place")
    assert fold_animals(frame, VARIABLES)["place"].to_list() == wanted(rows)
