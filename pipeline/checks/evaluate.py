"""Which rows break which rules: all rules within a row of one table in one pass."""

from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from schemas.rules.joined import select_columns
from schemas.rules.rule import Frames, Rule

NO_DETAIL = pl.lit("").alias("detail")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hit:
    """One rule and the rows that break it: columns row_id, and detail for the reader."""

    rule: Rule
    rows: pl.DataFrame


def find_broken(rules: Iterable[Rule], frames: Frames) -> tuple[Hit, ...]:
    """Judge the joined frames by the rules; only rules that some row breaks come back.

    Parameters
    ----------
    frames
        Joined frames of ``schemas.rules.joined.join_tables``.
    """
    listed = _of_tables_with_rows(rules, frames)
    within = {table: _within_rows(listed, table, frames) for table in dict.fromkeys(
        rule.table for rule in listed if isinstance(rule.broken, pl.Expr))}  # fmt: skip
    hits: list[Hit] = []
    for place, rule in enumerate(listed):
        rows = within[rule.table][place] if isinstance(rule.broken, pl.Expr) else _across(
            rule, frames)  # fmt: skip
        if rows.height:
            hits.append(Hit(rule=rule, rows=rows))
    return tuple(hits)


def _of_tables_with_rows(rules: Iterable[Rule], frames: Frames) -> list[Rule]:
    """Leave out the rules on a table without rows, whatever the others hold."""
    listed = list(rules)
    filled = {table for table in {rule.table for rule in listed}
              if select_columns(frames, table, ["row_id"]).height}  # fmt: skip
    return [rule for rule in listed if rule.table in filled]


def _within_rows(rules: list[Rule], table: str, frames: Frames) -> dict[int, pl.DataFrame]:
    expressions = {
        place: rule.broken
        for place, rule in enumerate(rules)
        if rule.table == table and isinstance(rule.broken, pl.Expr)
    }
    named = [name for broken in expressions.values() for name in broken.meta.root_names()]
    judged = select_columns(frames, table, ["row_id", *named]).select(
        "row_id",
        *(broken.alias(str(place)) for place, broken in expressions.items()),
    )
    counts = judged.select(pl.all().exclude("row_id").sum()).row(0) if expressions else ()
    return {
        place: judged.filter(pl.col(str(place))).select("row_id", NO_DETAIL)
        if count else judged.clear().select("row_id", NO_DETAIL)
        for place, count in zip(expressions, counts, strict=True)
    }  # fmt: skip


def _across(rule: Rule, frames: Frames) -> pl.DataFrame:
    assert not isinstance(rule.broken, pl.Expr)
    found = rule.broken(frames)
    if found.is_empty():
        return pl.DataFrame(schema={"row_id": pl.String(), "detail": pl.String()})
    rows = select_columns(frames, rule.table, ["row_id"])
    if "detail" not in found.columns:
        every = found["row_id"].equals(rows["row_id"])
        hit = rows if every else rows.join(found, on="row_id", how="semi", maintain_order="left")
        return hit.with_columns(NO_DETAIL)
    order = rows.with_row_index("place")
    return (
        found.select("row_id", "detail")
        .unique("row_id", keep="first", maintain_order=True)
        .join(order, on="row_id", how="inner")
        .sort("place")
        .drop("place")
    )
