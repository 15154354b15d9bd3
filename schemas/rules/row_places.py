"""Which row of another table each row of a table belongs to, by its key."""

import operator
from dataclasses import dataclass
from functools import reduce

import polars as pl

PLACE = "sulca:place"
FEW = 4  # so many times fewer rows are looked up among themselves
RUN = 2  # rows that follow each other with one key, on average, to be worth looking up together


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """For each row of a table the place of its row in another; None where they stand alike."""

    numbers: pl.Series | None

    def take(self, values: pl.Series) -> pl.Series:
        """Give the value of its row in the other table for each row, null where there is none."""
        return values if self.numbers is None else values.gather(self.numbers)

    def of(self, other: "Places") -> "Places":
        """Give the places for the rows whose places in this table are given."""
        if self.numbers is None or other.numbers is None:
            return self if other.numbers is None else other
        return Places(numbers=self.numbers.gather(other.numbers))

    def only(self, rows: pl.Series) -> "Places":
        """Give the places of some rows, named by number."""
        return Places(numbers=rows if self.numbers is None else self.numbers.gather(rows))


def find_places(keys: pl.DataFrame, rows: pl.DataFrame) -> Places:
    """Find each key among rows that have it once; a key with a blank in it is not found."""
    if keys.height and keys.equals(rows) and not sum(keys.null_count().row(0)):
        return Places(numbers=None)
    starts = starts_of_runs(keys)
    if keys.height and starts.sum() * RUN <= keys.height:
        run = starts.cum_sum() - 1
        return find_places(keys.filter(starts), rows).only(run)
    numbered = rows.with_row_index(PLACE)
    if keys.height * FEW < rows.height:
        numbered = numbered.join(keys, on=keys.columns, how="semi")
    return Places(
        numbers=keys.join(numbered, on=keys.columns, how="left", maintain_order="left")[PLACE]
    )


def starts_of_runs(keys: pl.DataFrame) -> pl.Series:
    """Be true where a key is not that of the row above; the contacts of a stifle mostly follow."""
    various = keys.select(~pl.all().eq_missing(pl.all().first()).all()).row(0)
    unlike = (  # copies none, and gives no room to a column of one value
        keys[name][1:].ne_missing(keys[name][:-1])
        for name, is_various in zip(keys.columns, various, strict=True) if is_various
    )  # fmt: skip
    first = pl.Series([True] if keys.height else [], dtype=pl.Boolean)
    alike = pl.repeat(value=False, n=max(keys.height - 1, 0), dtype=pl.Boolean, eager=True)
    return first.append(reduce(operator.or_, unlike, alike))
