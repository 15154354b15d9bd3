"""What linking asks the clinics beyond the rules: operations sent twice or as new cases."""

from collections.abc import Mapping

import polars as pl

from pipeline.checks.words import query_ids
from pipeline.link_rows import Rows
from schemas.findings import FINDING_SCHEMA

WHERE = ("row_id", "clinic_id", "file", "sheet", "row", "local_animal", "side")
CONFIRM = "Confirm that it is the same animal, or say that the transponder number was mistyped."


def told(rows: Rows, stifles: pl.DataFrame, contradictions: pl.DataFrame) -> pl.DataFrame:
    """Give the rows that linking may ask about, as their clinics know them."""
    sent = stifles.select(WHERE).hstack(rows.frame.select("kind", "day", "animal_no"))
    return sent.filter(
        pl.col("kind").is_in(["revision", "reported_twice"])
        | pl.col("animal_no").is_in(contradictions["animal_no"].unique().implode())
    ).sort("row_id")


def link_findings(told: pl.DataFrame, contradictions: pl.DataFrame) -> pl.DataFrame:
    """Put the questions in one frame.

    Parameters
    ----------
    told
        Rows of stifles by row_id, as sent, with the kind, day and animal_no of ``Rows``: at least
        those of later operations and of the animals of `contradictions`.
    contradictions
        The table `contradictory_links` of SQL.
    """
    unlike = told.join(contradictions, on="animal_no", how="inner")
    return pl.concat([_reported_twice(told), _sent_as_new(told), _contradictory(unlike)])


def answered(found: pl.DataFrame, confirmed: frozenset[str]) -> pl.Series:
    """Say which questions a confirmation settles: not those about a day that stays unknown."""
    if not confirmed:
        return pl.repeat(value=False, n=found.height, dtype=pl.Boolean, eager=True)
    dated = (found["rule"] != "R70") | (found["action"] != "hold")
    return dated & query_ids(found).is_in(sorted(confirmed))


def _reported_twice(told: pl.DataFrame) -> pl.DataFrame:
    return _asked(told.filter(pl.col("kind") == "reported_twice"), {
        "rule": "R05", "action": "ask", "variable": "surgery_date",
        "says": "This operation is reported twice under one link key; it is counted once.",
        "fix": "Confirm that there was one operation on this joint that day.",
    })  # fmt: skip


def _sent_as_new(told: pl.DataFrame) -> pl.DataFrame:
    """Tell of joints that were operated before, so that the row is no new case."""
    dated = pl.col("day").is_not_null()
    return _asked(told.filter(pl.col("kind") == "revision"), {
        "rule": "R70", "variable": "surgery_date",
        "action": pl.when(dated).then(pl.lit("derive")).otherwise(pl.lit("hold")),
        "says": pl.lit("The joint was operated before; this operation is counted as a revision")
        + pl.when(dated).then(pl.format(", {} days later.", "day")).otherwise(
            pl.lit(", but one clinic shifts its dates, so that its day is not known.")),
        "fix": "Confirm the earlier operation and give the reason for this one.",
        "holds": pl.when(dated).then(pl.lit("")).otherwise(pl.lit("outcome:all")),
    })  # fmt: skip


def _contradictory(unlike: pl.DataFrame) -> pl.DataFrame:
    says = "Two codes of the study have one link key, but the clinics differ on the {}."
    return _asked(unlike.sort("row_id", "what"), {
        "rule": "R04", "action": "hold", "variable": "local_animal",
        "says": pl.format(says, "what"), "fix": CONFIRM, "holds": "outcome:all",
    })  # fmt: skip


def _asked(rows: pl.DataFrame, given: Mapping[str, str | pl.Expr]) -> pl.DataFrame:
    """Make a finding of each row; a field that is not given is empty."""
    fields: dict[str, str | pl.Expr] = {
        "table": "stifles", "key": pl.format("{}, {}", "local_animal", "side"),
        "value": pl.col("local_animal"), **{name: pl.col(name) for name in WHERE}, **given,
    }  # fmt: skip
    made: list[pl.Expr] = []
    for name, kind in FINDING_SCHEMA.items():
        field = fields.get(name, "")
        made.append((pl.lit(field) if isinstance(field, str) else field).cast(kind).alias(name))
    return rows.select(made)
