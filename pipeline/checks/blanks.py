"""Which empty cells are asked about, and how: one by one, once for a column, or not at all."""

from collections.abc import Iterable
from dataclasses import replace

import polars as pl

from pipeline.checks.by_clinic import count_by_clinic
from pipeline.checks.evaluate import Hit
from pipeline.intake.mapped import MISSING_ROW, RAW, numbered, raw_text
from schemas.rules.rule import Frames

ABOUT_BLANKS = frozenset({"C03", "C04", "R01", "R03", "R38"})
KEYS_OF_JOINT = ("local_animal", "local_stifle", "side")
# From so many, if they are also a third of the rows or nothing is filled, a column is asked once.
MANY = 10
SHARE = 0.3
NOT_RECORDED = "is written as not recorded"
IN_MOST = "is empty in many rows, or no column holds it"


def sort_blanks(hits: Iterable[Hit], *, tables: Frames, missing: pl.DataFrame,
                found: pl.DataFrame) -> tuple[Hit, ...]:  # fmt: skip
    """Leave out blanks that were asked about or the clinic explained; gather whole columns.

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
        if hit.rule.id in ABOUT_BLANKS and hit.rule.action == "stop":
            sorted_hits += _not_stopped_yet(hit, tables, found)
        elif hit.rule.id in ABOUT_BLANKS:
            sorted_hits += _sort(hit, tables[hit.rule.table], missing)
        else:
            sorted_hits.append(hit)
    return tuple(sorted_hits)


def _not_stopped_yet(hit: Hit, tables: Frames, found: pl.DataFrame) -> list[Hit]:
    """Leave out rows that intake stops by a question about the same cell.

    A day that is written but has no operation to be counted from is not empty: its row waits
    for the date or the row of that operation.
    """
    about = pl.col("variable").is_in(
        [*KEYS_OF_JOINT] if hit.rule.id == "R01" else [hit.rule.shows[0]]
    )
    stopped = found.filter(pl.col("action") == "stop", pl.col("table") == hit.rule.table, about)
    rows = hit.rows.join(stopped, on="row_id", how="anti", maintain_order="left")
    if hit.rule.id == "C03" and hit.rule.table not in {"animals", "stifles"}:
        frame = tables[hit.rule.table]
        dated = tables["stifles"].filter(pl.col("surgery_date").is_not_null())
        asked = frame.join(hit.rows, on="row_id", how="semi", maintain_order="left")
        written = asked.filter(_raw(frame, hit.rule.shows[0]) != "")
        waiting = written.join(dated, on=["clinic_id", "local_stifle"], how="anti")
        rows = rows.join(waiting, on="row_id", how="anti", maintain_order="left")
    return [Hit(rule=hit.rule, rows=rows)] if rows.height else []


def _sort(hit: Hit, frame: pl.DataFrame, missing: pl.DataFrame) -> list[Hit]:
    name = hit.rule.shows[0]
    reasons = (
        numbered(hit.rows.select("row_id"))
        .join(missing.filter(pl.col("variable") == name), on=MISSING_ROW)
        .select("row_id", "reason")
        .unique("row_id", keep="first", maintain_order=True)
    )
    named = [column for column in (name, RAW + name) if column in frame.columns]
    own = dict.fromkeys(["row_id", "clinic_id", *named])
    of_hit = frame.select(*own).join(hit.rows, on="row_id", how="semi")
    cells = hit.rows.join(
        of_hit.select("row_id", "clinic_id", pl.col(name).alias("cell"), _raw(frame, name)),
        on="row_id",
        how="left",
        maintain_order="left",
    ).join(reasons, on="row_id", how="left", maintain_order="left")
    blank, reason = pl.col("cell").is_null(), pl.col("reason")
    # Text without a value and without a reason was not understood, or contradicts another
    # row: that has been asked already.
    asked = blank & (pl.col("raw") != "") & reason.is_null()
    explained = blank & (reason != "not_recorded").fill_null(value=False)
    cells = cells.filter(~asked & ~explained)
    said = blank & (pl.col("raw") != "")
    once = _clinics_to_ask_once(cells.filter(blank), frame, name)
    whole = blank & pl.col("clinic_id").is_in(once.implode())
    softer = replace(hit.rule, action="ask", holds=())
    declared = replace(softer, says=hit.rule.says.replace("is empty", NOT_RECORDED))
    parts = (
        Hit(rule=hit.rule, rows=cells.filter(~said & ~whole)),
        Hit(rule=declared, rows=cells.filter(said & ~whole)),
        Hit(
            rule=replace(softer, once="file", says=hit.rule.says.replace("is empty", IN_MOST)),
            rows=cells.filter(whole),
        ),
    )
    return [Hit(rule=part.rule, rows=part.rows.select("row_id", "detail"))
            for part in parts if part.rows.height]  # fmt: skip


def _raw(frame: pl.DataFrame, name: str) -> pl.Expr:
    text = raw_text(name) if RAW + name in frame.columns else pl.lit(None, pl.String)
    return text.fill_null("").str.strip_chars().alias("raw")


def _clinics_to_ask_once(cells: pl.DataFrame, frame: pl.DataFrame, name: str) -> pl.Series:
    """Find clinics that leave much of a column empty, or never fill it."""
    blank = cells.group_by("clinic_id").agg(blank=pl.len())
    if not (blank["blank"] >= MANY).any():
        return blank["clinic_id"].clear()
    rows = count_by_clinic(frame, name)
    many = blank.join(rows, on="clinic_id").filter(
        pl.col("blank") >= MANY,
        (pl.col("blank") >= SHARE * pl.col("rows")) | (pl.col("filled") == 0),
    )
    return many["clinic_id"]
