"""Working rows -> marks: which values are not simply what the cell of their own row says."""

from collections.abc import Collection, Sequence

import polars as pl

from pipeline.intake.account import PLACE, place_of
from pipeline.intake.mapped import MARK_SCHEMA
from schemas.codebook import Variable

MARK_CASTS = pl.Schema(MARK_SCHEMA)


def mark_rows(
    rows: pl.DataFrame, table: str, variables: Sequence[Variable], clinic_id: str,
    *, several: Collection[tuple[str, str]] = (),
) -> pl.DataFrame:  # fmt: skip
    """Mark values that are not simply what the cell of their own row says.

    Parameters
    ----------
    several
        The variables, with their tables, that several columns may give.
    """
    parts = [pl.DataFrame(schema=dict(MARK_SCHEMA))]
    for item in variables:
        name = item.name
        marks = {
            "nominal": pl.col(f"nominal:{name}").is_not_null() & pl.col(name).is_not_null(),
            "derived": pl.col(f"derived:{name}") if f"derived:{name}" in rows.columns else None,
            "other_row": pl.col(f"row:{name}").is_not_null()
            if f"row:{name}" in rows.columns
            else None,
        }
        if (table, name) in several:
            header = pl.col(f"col:{name}")
            marks["other_column"] = header != header.drop_nulls().first().over(PLACE)
        if name == "local_stifle" and "sulca:inherited" in rows.columns:
            marks["inherited"] = pl.col("sulca:inherited").fill_null(value=False)
        parts += [
            _mark(rows.filter(where), name, mark, table=table, clinic_id=clinic_id)
            for mark, where in marks.items()
            if where is not None and rows.select(where.any()).item()
        ]  # fmt: skip
    return pl.concat(parts)


def _mark(rows: pl.DataFrame, name: str, mark: str, *, table: str, clinic_id: str) -> pl.DataFrame:
    return rows.select(
        clinic_id=pl.lit(clinic_id), table=pl.lit(table), row_id="row_id", variable=pl.lit(name),
        mark=pl.lit(mark), file=place_of(rows, "file", name), sheet=place_of(rows, "sheet", name),
        row=place_of(rows, "row", name), column=f"col:{name}", window_days=f"nominal:{name}",
    ).cast(MARK_CASTS)  # fmt: skip
