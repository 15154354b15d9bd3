"""Which empty cells are asked about, and how: one by one, once for a column, or not at all."""

from collections.abc import Iterable
from dataclasses import replace

import polars as pl

from pipeline.checks.evaluate import Hit
from pipeline.intake.mapped import RAW
from schemas.rules.rule import Frames

ABOUT_BLANKS = frozenset({"C03", "C04", "R38", "R19"})
MANY = 10  # from so many, if they are also a third of the rows, a column is asked about once
SHARE = 0.3


def sort_blanks(hits: Iterable[Hit], *, tables: Frames, missing: pl.DataFrame,
                found: pl.DataFrame) -> tuple[Hit, ...]:  # fmt: skip
    """Leave out blanks that intake asked about or the clinic explained; gather whole columns.

    Parameters
    ----------
    missing
        Why a cell is empty (``Mapped.missing``). A word that says "not recorded" is asked of a
        core variable but holds nothing back: the clinic knows that it is missing.
    found
        What intake found: it has asked about its cells already.
    """
    sorted_hits: list[Hit] = []
    for hit in hits:
        if hit.rule.id in ABOUT_BLANKS and hit.rule.action != "stop":
            sorted_hits += _sort(hit, tables[hit.rule.table], missing, found)
        else:
            sorted_hits.append(hit)
    return tuple(sorted_hits)


def _sort(hit: Hit, frame: pl.DataFrame, missing: pl.DataFrame, found: pl.DataFrame) -> list[Hit]:
    name = hit.rule.shows[0]
    about = pl.col("variable") == name
    reasons = missing.filter(about).select("row_id", "reason").unique("row_id", keep="first")
    cells = (
        hit.rows.join(
            frame.select("row_id", "clinic_id", pl.col(name).alias("cell"), _raw(frame, name)),
            on="row_id", how="left", maintain_order="left",
        )
        .join(found.filter(about).select("row_id"), on="row_id", how="anti", maintain_order="left")
        .join(reasons, on="row_id", how="left", maintain_order="left")
        .filter(pl.col("cell").is_not_null()
                | (pl.col("reason").fill_null("not_recorded") == "not_recorded"))
    )  # fmt: skip
    said = pl.col("cell").is_null() & (pl.col("raw") != "") & pl.col("reason").is_not_null()
    asked_once = _clinics_to_ask_once(cells.filter(pl.col("cell").is_null()), frame)
    whole = pl.col("cell").is_null() & pl.col("clinic_id").is_in(asked_once.implode())
    softer = replace(hit.rule, action="ask", holds=())
    parts = (
        Hit(rule=hit.rule, rows=cells.filter(~said & ~whole)),
        Hit(rule=softer, rows=cells.filter(said & ~whole)),
        Hit(rule=replace(softer, once="file"), rows=cells.filter(whole)),
    )
    return [Hit(rule=part.rule, rows=part.rows.select("row_id", "detail"))
            for part in parts if part.rows.height]  # fmt: skip


def _raw(frame: pl.DataFrame, name: str) -> pl.Expr:
    text = pl.col(RAW + name) if RAW + name in frame.columns else pl.lit(None, pl.String)
    return text.fill_null("").str.strip_chars().alias("raw")


def _clinics_to_ask_once(cells: pl.DataFrame, frame: pl.DataFrame) -> pl.Series:
    rows = frame.group_by("clinic_id").agg(rows=pl.len())
    blank = cells.group_by("clinic_id").agg(blank=pl.len())
    many = blank.join(rows, on="clinic_id").filter(
        pl.col("blank") >= MANY, pl.col("blank") >= SHARE * pl.col("rows")
    )
    return many["clinic_id"]
