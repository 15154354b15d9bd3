"""How a clinic's data improved: questions new, open and resolved, round by round and by rule."""

from collections.abc import Mapping
from pathlib import Path

import polars as pl

from pipeline.report import blocks
from pipeline.report.blocks import Section
from pipeline.report.tables import Cell, Line, Table, as_html
from shared.errors import InputFileError
from shared.files import write_csv, write_text

ROUNDS = "rounds of all clinics.csv"
STATES = ("new", "open", "resolved")
ROUND_SCHEMA: Mapping[str, pl.DataType] = {
    "round": pl.Int64(), "clinic": pl.String(), "rule": pl.String(),
    **dict.fromkeys(STATES, pl.Int64()),
}  # fmt: skip


def write_progress(lists: Mapping[str, pl.DataFrame], out_dir: Path, *, previous: Path | None
                   ) -> list[Path]:  # fmt: skip
    """Write the rounds of all clinics as CSV, and a page for each clinic.

    Parameters
    ----------
    lists
        The questions of each clinic in this round, resolved ones included.
    previous
        Folder of the round before, which holds the rounds up to it.
    """
    past = _past(previous / ROUNDS if previous else None)
    number = int(past["round"].max() or 0) + 1 if past.height else 1  # pyright: ignore[reportArgumentType]
    now = [_counted(queries, clinic, number) for clinic, queries in sorted(lists.items())]
    rounds = pl.concat([past, *now])
    write_csv(out_dir / ROUNDS, rounds)
    paths = [out_dir / ROUNDS]
    for clinic, queries in sorted(lists.items()):
        paths.append(out_dir / f"{clinic}.html")
        write_text(paths[-1], _page(clinic, rounds.filter(pl.col("clinic") == clinic), queries))
    return paths


def _past(path: Path | None) -> pl.DataFrame:
    if path is None or not path.exists():
        return pl.DataFrame(schema=dict(ROUND_SCHEMA))
    try:
        return pl.read_csv(path, schema=dict(ROUND_SCHEMA))
    except (pl.exceptions.PolarsError, UnicodeDecodeError) as error:
        raise InputFileError(
            str(path), "the list of earlier rounds cannot be read",
            do="Put the file back as it was written, or begin to count anew without it.",
        ) from error  # fmt: skip


def _counted(queries: pl.DataFrame, clinic: str, number: int) -> pl.DataFrame:
    """Count the questions of one round by rule; a round without any is one line of zeros."""
    if queries.is_empty():
        row = {"round": number, "clinic": clinic, "rule": "", **dict.fromkeys(STATES, 0)}
        return pl.DataFrame([row], schema=dict(ROUND_SCHEMA))
    return queries.group_by("rule").agg(
        (pl.col("status") == state).sum().cast(pl.Int64).alias(state) for state in STATES
    ).sort("rule").select(
        pl.lit(number, pl.Int64).alias("round"), pl.lit(clinic).alias("clinic"), "rule", *STATES
    )  # fmt: skip


def _page(clinic: str, rounds: pl.DataFrame, queries: pl.DataFrame) -> str:
    totals = rounds.group_by("round").agg(pl.col(STATES).sum()).sort("round")
    sections = [
        Section("rounds", "Round by round", "Rounds", (as_html(_rounds_table(totals)),)),
        Section("rules", "This round, by what is asked", "By rule",
                (as_html(_rules_table(queries)),)),
    ]  # fmt: skip
    return blocks.page(
        title=f"Questions to {clinic}", design="How the clinic's data improved, and what is open.",
        contents=sections, lead=[blocks.paragraph(_sentence(totals))], sections=sections,
        imprint="A round ends when an export, a mapping or an answer changes. A question keeps its "
        "id through all rounds; one that no longer stands is resolved.",
    )  # fmt: skip


def _sentence(totals: pl.DataFrame) -> str:
    asked, resolved = int(totals["new"].sum()), int(totals["resolved"].sum())
    last = totals.row(-1, named=True)
    still = last["new"] + last["open"]
    if not asked:
        return "No question has been asked so far."
    return (
        f"In {totals.height} round{'s' * (totals.height != 1)} {asked} questions were asked; "
        f"{_are(resolved)} resolved and {_are(still)} open."
    )


def _are(number: int) -> str:
    return f"{number} is" if number == 1 else f"{number} are"


def _rounds_table(totals: pl.DataFrame) -> Table:
    lines = tuple(
        Line(f"Round {row['round']}", tuple(Cell(str(number)) for number in (
            row["new"], row["open"], row["resolved"], row["new"] + row["open"])))
        for row in totals.iter_rows(named=True)
    )  # fmt: skip
    return Table(
        id="rounds-table", caption="Questions of each round",
        columns=("Round", "New", "Open from before", "Resolved since", "Open in all"), lines=lines,
    )  # fmt: skip


def _rules_table(queries: pl.DataFrame) -> Table:
    counted = queries.group_by("rule").agg(
        pl.col("what is wrong").sort_by("query_id").first(),
        *((pl.col("status") == state).sum().alias(state) for state in STATES),
    ).sort("rule")  # fmt: skip
    lines = tuple(
        Line(row["rule"], (Cell(_short(row["what is wrong"]), words=True),
                           *(Cell(str(row[state])) for state in STATES)))
        for row in counted.iter_rows(named=True)
    )  # fmt: skip
    return Table(
        id="rules-table", caption="Questions by rule",
        columns=("Rule", "For example", "New", "Open from before", "Resolved since"), lines=lines,
    )  # fmt: skip


def _short(text: str) -> str:
    """Give the first sentence, without the values it shows."""
    return text.partition(" (")[0].partition(". ")[0].rstrip(".") + "."
