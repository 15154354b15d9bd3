"""Compare two tables row by row on `row_id`, and list every cell that differs."""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """One cell that differs between a stored table and its rerun."""

    table: str
    row_id: str
    column: str
    before: str
    after: str

    @property
    def where(self) -> str:
        """The row, the column and both values, in words."""
        if not self.column:
            return f"{self.row_id} {self.after}"
        return f"{self.row_id}, {self.column}: {self.before} became {self.after}"


def compare_tables(
    table: str, before: pl.DataFrame, after: pl.DataFrame, *, tolerance: float
) -> list[Moved]:
    """List the cells of two frames with a `row_id` that differ.

    Parameters
    ----------
    table
        Name used in the answer.
    before, after
        Frames with a text column ``row_id``, unique in `after`; a stored file may have been edited.
    tolerance
        Largest relative difference of two numbers that is no difference; 0 is exact.
    """
    again = before.filter(~pl.col("row_id").is_first_distinct())["row_id"].unique().sort()
    before = before.unique("row_id", keep="first", maintain_order=True)
    old, new = set(before["row_id"]), set(after["row_id"])
    found = [Moved(table=table, row_id=key, column="", before="", after="stands more than once")
             for key in again]  # fmt: skip
    found += [Moved(table=table, row_id=key, column="", before="", after="is gone")
             for key in sorted(old - new)]  # fmt: skip
    found += [Moved(table=table, row_id=key, column="", before="", after="is new")
              for key in sorted(new - old)]  # fmt: skip
    names = [name for name in before.columns if name != "row_id" and name in after.columns]
    if set(before.columns) != set(after.columns):
        found.append(Moved(table=table, row_id="columns", column="", before="", after="differ"))
    both = before.join(after, on="row_id", how="inner", suffix=":after", validate="1:1")
    for name in names:
        differs = both.filter(_differs(before, after, name, tolerance)).sort("row_id")
        found += [
            Moved(table=table, row_id=key, column=name, before=_said(one), after=_said(two))
            for key, one, two in differs.select("row_id", name, f"{name}:after").iter_rows()
        ]
    return found


def _differs(before: pl.DataFrame, after: pl.DataFrame, name: str, tolerance: float) -> pl.Expr:
    one, two = pl.col(name), pl.col(f"{name}:after")
    numeric = before.schema[name].is_numeric() and after.schema[name].is_numeric()
    if not numeric:
        one, two = one.cast(pl.String), two.cast(pl.String)
    exact = one.ne_missing(two)
    if not numeric or tolerance == 0:
        return exact
    near = (one - two).abs() <= tolerance * pl.max_horizontal(one.abs(), two.abs())
    return exact & ~near.fill_null(value=False)


def _said(value: object) -> str:
    return "empty" if value is None else str(value)
