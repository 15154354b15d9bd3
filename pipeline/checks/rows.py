"""Rows and their fates: complete tables in, rows taken out with a reason, never silently."""

from collections.abc import Iterable, Mapping

import polars as pl

from pipeline.checks.evaluate import Hit
from pipeline.checks.words import key_in_words
from pipeline.intake.mapped import ADDRESS, RAW
from schemas.codebook import CANONICAL_TABLES, Variable, of_table
from schemas.rules.rule import Frames

FATE_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": pl.String(), "table": pl.String(), "row_id": pl.String(), "key": pl.String(),
    "fate": pl.String(),  # set_aside, merged, stopped
    "rule": pl.String(),
}  # fmt: skip


def complete(tables: Frames, codebook: Iterable[Variable]) -> dict[str, pl.DataFrame]:
    """Give every canonical table with every column, empty where a study has none of it."""
    declared = list(codebook)
    whole: dict[str, pl.DataFrame] = {}
    for name in CANONICAL_TABLES:
        variables = of_table(declared, name)
        schema: dict[str, pl.DataType] = {
            **ADDRESS,
            **{item.name: item.dtype for item in variables},
            **{RAW + item.name: pl.String() for item in variables},
        }
        frame = tables.get(name, pl.DataFrame(schema=schema))
        absent = [pl.lit(None, kind).alias(column) for column, kind in schema.items()
                  if column not in frame.columns]  # fmt: skip
        whole[name] = frame.with_columns(*absent, derived=pl.lit(value=False)).select(
            *schema, "derived"
        )
    return whole


def take_out(tables: Frames, hits: Iterable[Hit], fate: str
             ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Take the rows of these hits out of their tables, and say what became of them."""
    left = dict(tables)
    fates: list[pl.DataFrame] = [pl.DataFrame(schema=dict(FATE_SCHEMA))]
    for hit in hits:
        table = hit.rule.table
        left[table], gone = take_rows(
            left[table], hit.rows["row_id"], table=table, fate=fate, rule=hit.rule.id
        )
        fates.append(gone)
    return left, pl.concat(fates)


def take_rows(frame: pl.DataFrame, row_ids: pl.Series, *, table: str, fate: str, rule: str
              ) -> tuple[pl.DataFrame, pl.DataFrame]:  # fmt: skip
    """Split a table into the rows that stay and the fates of those that do not."""
    if row_ids.is_empty():
        return frame, pl.DataFrame(schema=dict(FATE_SCHEMA))
    gone = pl.col("row_id").is_in(row_ids.implode())
    fates = frame.filter(gone).select(
        "clinic_id", pl.lit(table).alias("table"), "row_id",
        key_in_words(frame, table).alias("key"), pl.lit(fate).alias("fate"),
        pl.lit(rule).alias("rule"),
    )  # fmt: skip
    return frame.filter(~gone), fates


def take_children(tables: Frames, parents: pl.DataFrame, *, fate: str, rule: str
                  ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Take out every row that belongs to parents that were taken out.

    Parameters
    ----------
    parents
        Columns clinic_id and local_animal or local_stifle of the parents.
    """
    left = dict(tables)
    fates: list[pl.DataFrame] = [pl.DataFrame(schema=dict(FATE_SCHEMA))]
    key = [name for name in ("local_animal", "local_stifle") if name in parents.columns]
    for table, frame in tables.items():
        if not set(key) <= set(frame.columns):
            continue
        orphaned = frame.select("row_id", "clinic_id", *key).join(
            parents, on=["clinic_id", *key], how="semi", maintain_order="left"
        )
        left[table], gone = take_rows(
            left[table], orphaned["row_id"], table=table, fate=fate, rule=rule
        )
        fates.append(gone)
    return left, pl.concat(fates)
