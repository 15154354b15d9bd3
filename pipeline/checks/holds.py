"""What is unknown until a clinic answers: values emptied, variables and outcomes listed."""

from collections.abc import Iterable, Mapping

import polars as pl

from pipeline.checks.evaluate import Hit
from schemas.rules.declared import unknown_when_held
from schemas.rules.rule import Frames

HOLD_SCHEMA: Mapping[str, pl.DataType] = {
    name: pl.String() for name in ("clinic_id", "local_stifle", "target", "rule")
}
STIFLE = ["clinic_id", "local_stifle"]
ANIMAL = ["clinic_id", "local_animal"]
JOINT = [*ANIMAL, "side"]
# Rows of these tables say nothing about what became of the stifle.
NO_OUTCOME = ("measurements",)


def empty_held(tables: Frames, hits: Iterable[Hit]) -> dict[str, pl.DataFrame]:
    """Empty the values that a hold makes unknown; outcomes are only listed."""
    left = dict(tables)
    for hit in hits:
        if hit.rule.action != "hold":
            continue
        for target in (item for item in hit.rule.holds if not item.startswith("outcome:")):
            other, _, name = target.rpartition(".")
            table = other or hit.rule.table
            named = _keys(left[hit.rule.table]).join(hit.rows, on="row_id", how="semi")
            left[table] = _emptied(left[table], named, name, key=STIFLE if other else ["row_id"])
    return left


def _keys(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(name for name in ("row_id", *ANIMAL, "local_stifle")
                        if name in frame.columns)  # fmt: skip


def _emptied(frame: pl.DataFrame, named: pl.DataFrame, name: str, *, key: list[str]
             ) -> pl.DataFrame:  # fmt: skip
    if name not in frame.columns:  # a word for what is in doubt, no column of this table
        return frame
    marks = named.select(key).unique().with_columns(held=pl.lit(value=True))
    held = frame.select(key).join(marks, on=key, how="left", maintain_order="left")["held"]
    return frame.with_columns(pl.when(held).then(None).otherwise(pl.col(name)).alias(name))


def holds_of_hits(hits: Iterable[Hit], tables: Frames) -> pl.DataFrame:
    """List what each hold makes unknown, by stifle; of an animal, in all its stifles."""
    listed = [pl.DataFrame(schema=dict(HOLD_SCHEMA))]
    for hit in hits:
        if hit.rule.action != "hold":
            continue
        rows = _keys(tables[hit.rule.table]).join(
            hit.rows, on="row_id", how="semi", maintain_order="left"
        )
        targets = pl.DataFrame({"target": [name.rpartition(".")[2] for name in hit.rule.holds]},
                               schema={"target": pl.String})  # fmt: skip
        listed.append(
            _stifles_of(rows, tables).join(targets, how="cross")
            .select(*STIFLE, "target", pl.lit(hit.rule.id).alias("rule"))
        )  # fmt: skip
    return pl.concat(listed)


def holds_of_intake(found: pl.DataFrame, tables: Frames) -> pl.DataFrame:
    """List what cells that intake did not understand make unknown."""
    listed = [pl.DataFrame(schema=dict(HOLD_SCHEMA))]
    held = found.filter(pl.col("action") == "hold", pl.col("row_id") != "")
    alike = ["table", "holds", "variable", "rule"]
    for (table, holds, variable, rule), cells in held.group_by(alike, maintain_order=True):
        rows = _keys(tables[str(table)]).join(cells, on="row_id", how="semi", maintain_order="left")
        named = [item.strip() for item in str(holds).split(",") if item.strip()]
        targets = [target for name in named or [str(variable)]
                   for target in unknown_when_held(str(table), name)]  # fmt: skip
        stifles = _stifles_of(rows, tables)
        listed.append(
            stifles.join(pl.DataFrame({"target": targets}), how="cross")
            .select(*STIFLE, "target", pl.lit(rule).alias("rule"))
        )  # fmt: skip
    return pl.concat(listed)


def holds_of_stopped(fates: pl.DataFrame, made: Frames, accepted: pl.DataFrame) -> pl.DataFrame:
    """Hold every outcome of the accepted stifles that a stopped row may belong to.

    Parameters
    ----------
    fates
        ``FATE_SCHEMA``; only stopped rows count.
    made
        The tables before any row was taken out.
    accepted
        The accepted stifles.
    """
    listed = [pl.DataFrame(schema=dict(HOLD_SCHEMA))]
    for table, frame in made.items():
        causes = fates.filter(pl.col("fate") == "stopped", pl.col("table") == table)
        if table in NO_OUTCOME or not causes.height:
            continue
        target = "outcome:implant" if table == "implants" else "outcome:all"
        rows = frame.join(causes.select("row_id", "rule"), on="row_id", how="inner")
        for part in _may_be(rows, made["stifles"], accepted):
            listed.append(part.select(*STIFLE, pl.lit(target).alias("target"), "rule"))
    return pl.concat(listed)


def _may_be(rows: pl.DataFrame, made: pl.DataFrame, accepted: pl.DataFrame) -> list[pl.DataFrame]:
    """Give the stifle of each row; where no code or side tells, all stifles of its animal."""
    stifles = accepted.select(*STIFLE, "local_animal", "side")
    if "side" in rows.columns:  # a stifle row: the joint, whatever its code
        same = rows.select(*JOINT, "rule").join(stifles, on=JOINT, how="inner")
        lost = rows.filter(pl.col("side").is_null())
    elif "local_stifle" in rows.columns:
        same = rows.select(*STIFLE, "rule").join(stifles, on=STIFLE, how="inner")
        code = pl.col("local_stifle").str.splitn(":", 2).struct.field("field_0")
        no_side = pl.col("local_stifle").str.ends_with(":?")
        lost = pl.concat(
            [
                rows.join(made, on=STIFLE, how="anti").filter(~no_side),
                rows.filter(no_side),
            ]
        ).with_columns(local_animal=code)
    else:
        return []
    return [same, lost.select(*ANIMAL, "rule").join(stifles, on=ANIMAL, how="inner")]


def _stifles_of(rows: pl.DataFrame, tables: Frames) -> pl.DataFrame:
    if "local_stifle" in rows.columns:
        return rows.select(STIFLE).filter(pl.col("local_stifle").is_not_null())
    if "local_animal" not in rows.columns:
        return pl.DataFrame(schema={name: pl.String() for name in STIFLE})
    stifles = tables["stifles"].select(*ANIMAL, "local_stifle").join(rows, on=ANIMAL, how="semi")
    return rows.select(ANIMAL).join(stifles, on=ANIMAL, how="inner", maintain_order="left").select(
        STIFLE
    )  # fmt: skip
