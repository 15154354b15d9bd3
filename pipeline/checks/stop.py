"""Rows that cannot be placed leave their tables, and with a stifle all that belongs to it."""

from collections.abc import Sequence

import polars as pl

from pipeline.checks.evaluate import Hit
from pipeline.checks.rows import FATE_SCHEMA, take_rows
from schemas.rules.rule import Frames

STIFLE = ["clinic_id", "local_stifle"]


def stop_rows(tables: Frames, hits: Sequence[Hit], found: pl.DataFrame
              ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Take out rows that a rule or intake stops, then rows of stifles that are gone."""
    listed = found.filter(pl.col("action") == "stop", pl.col("row_id") != "")
    causes = [(row["table"], row["rule"], pl.Series([row["row_id"]]))
              for row in listed.iter_rows(named=True)]  # fmt: skip
    causes += [(hit.rule.table, hit.rule.id, hit.rows["row_id"])
               for hit in hits if hit.rule.action == "stop"]  # fmt: skip
    left, fates = dict(tables), [pl.DataFrame(schema=dict(FATE_SCHEMA))]
    for table, rule, row_ids in causes:
        left[table], gone = take_rows(left[table], row_ids, table=table, fate="stopped", rule=rule)
        fates.append(gone)
    left, waiting = _waiting(tables, left, pl.concat(fates))
    return left, pl.concat([*fates, waiting])


def _waiting(tables: Frames, left: dict[str, pl.DataFrame], fates: pl.DataFrame
             ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Stop the rows of stopped stifles, for the same reason."""
    causes = fates.filter(pl.col("table") == "stifles").select("row_id", "rule")
    if causes.is_empty():
        return left, fates.clear()
    stopped = tables["stifles"].join(causes, on="row_id", how="inner").select(*STIFLE, "rule")
    gone = stopped.join(left["stifles"].select(STIFLE), on=STIFLE, how="anti")
    waiting = [pl.DataFrame(schema=dict(FATE_SCHEMA))]
    for (rule,), stifles in gone.sort("rule", *STIFLE).group_by("rule", maintain_order=True):
        for table in [name for name in left if "local_stifle" in left[name].columns]:
            rows = left[table].join(stifles, on=STIFLE, how="semi", maintain_order="left")
            left[table], fate = take_rows(
                left[table], rows["row_id"], table=table, fate="stopped", rule=str(rule)
            )
            waiting.append(fate)
    return left, pl.concat(waiting)
