"""The coordinator's page on how far animals of the pooled table could be singled out."""

from pathlib import Path
from typing import Any

import polars as pl
from markupsafe import Markup

from pipeline.reidentification import BUDGETS, Reidentification
from pipeline.reidentification_facts import FACTS, LADDERS
from pipeline.report import blocks
from pipeline.report.blocks import Section, bullets, paragraph, strip
from pipeline.report.tables import Cell, Line, Table, as_html
from pipeline.report.text import fixed, whole
from shared.files import write_csv, write_text

SHOWN = 40  # smallest cells on the page; all stand in the CSV file
CAUTION = (
    "This is a measure, not a guarantee. It knows five facts only. Somebody who knows another, "
    "such as the day of surgery, the weight or what happened, may single out an animal of a large "
    "cell; and a cell whose animals all had the same outcome tells that outcome of each."
)
NAMES = {"clinic": "Clinic", "breed": "Breed", "sex": "Sex", "age": "Age (years)",
         "year": "Year of surgery"}  # fmt: skip


def write_reidentification(out: Path, measured: Reidentification, *, title: str) -> list[Path]:
    """Write ``reidentification.html`` and its two CSV files below `out`, never in public/."""
    paths = [out / f"reidentification{end}" for end in (".html", ".csv", "_cells.csv")]
    write_text(paths[0], page(measured, title))
    write_csv(paths[1], measured.ways)
    write_csv(paths[2], measured.cells)
    return paths


def page(measured: Reidentification, title: str) -> str:
    """Write the page."""
    sections = [_stands(measured), _path(measured), _ways(measured), _clinics(measured),
                _smallest(measured)]  # fmt: skip
    return blocks.page(
        title=f"Re-identification: {title}",
        design="For the coordinator alone: this page names small groups. It does not leave the "
        "study folder.",
        lead=[paragraph(CAUTION, "caution")], contents=sections, sections=sections,
        imprint="Counted over accepted animals of all clinics. Nothing here was taken out of any "
        "table; it says what would have to be before one is handed on.",
    )  # fmt: skip


def _stands(measured: Reidentification) -> Section:
    now, k = measured.as_it_stands, measured.k
    under, unique = int(now["animals_under_k"]), int(now["unique_animals"])
    parts = [
        ("", whole(measured.animals), "animals"),
        ("=", whole(measured.animals - under), f"in cells of {k} or more"),
        ("+", whole(under - unique), f"in cells of 2 to {k - 1}"),
        ("+", whole(unique), "alone in their cell"),
    ]
    says = (
        f"A cell is all animals with the same clinic, breed, sex with neuter status, age in whole "
        f"years and year of surgery. There are {whole(int(now['cells']))} cells; the smallest has "
        f"{whole(int(now['smallest_cell']))}, so the table is {whole(int(now['smallest_cell']))}-"
        f"anonymous. {fixed(100 * float(now['share_under_k']), 1)} of 100 animals are in cells "
        f"under {k}."
    )
    return Section("stands", "As the table stands", "As it stands", (strip(parts), paragraph(says)))


def _path(measured: Reidentification) -> Section:
    lines: list[Line] = []
    before: dict[str, Any] = {}
    for row in measured.path.iter_rows(named=True):
        step = next((fact for fact in FACTS if before and row[fact] != before[fact]), None)
        said = "As the table stands" if step is None else f"{NAMES[step]}: {row[step]}"
        lines.append(Line(said, _counts(row)))
        before = row
    table = Table(
        id="path", caption="One step after another, each the one that helps most animals",
        columns=("Told more coarsely", *_count_names(measured.k)), lines=tuple(lines),
    )  # fmt: skip
    return Section("path", "Step by step", "Step by step", (as_html(table),))


def _ways(measured: Reidentification) -> Section:
    lines: list[Line] = []
    for share in BUDGETS:
        many = f"up to {share:.0%} of animals left out" if share else "nobody left out"
        found = measured.reaching(share)
        lines.append(Line(f"{many.capitalize()}: {'none' if found.is_empty() else 'fewest steps'}"))
        lines += [Line(_in_words(row), _counts(row)) for row in found.head(3).iter_rows(named=True)]
    table = Table(
        id="ways", caption=f"Ways to cells of {measured.k} or more, the fewest steps first",
        columns=("Told more coarsely", *_count_names(measured.k)), lines=tuple(lines),
        notes=("What is left out is counted in the column of small cells: those animals would "
               "have to be suppressed. All combinations stand in reidentification.csv.",),
    )  # fmt: skip
    return Section("ways", f"What reaches k = {measured.k}", "What reaches it", (as_html(table),))


def _clinics(measured: Reidentification) -> Section:
    small = pl.col("animals") < measured.k
    rows = measured.cells.group_by("clinic").agg(
        pl.col("animals").sum(), under=pl.col("animals").filter(small).sum(),
        alone=(pl.col("animals") == 1).sum(),
    ).sort("clinic")  # fmt: skip
    lines = tuple(
        Line(clinic, tuple(Cell(whole(int(n))) for n in (animals, under, alone)))
        for clinic, animals, under, alone in rows.iter_rows()
    )
    table = Table(
        id="clinics", caption="Animals in small cells, by clinic",
        columns=("Clinic", "Animals", f"In cells under {measured.k}", "Alone"), lines=lines,
    )  # fmt: skip
    return Section("clinics", "By clinic", "By clinic", (as_html(table),))


def _smallest(measured: Reidentification) -> Section:
    small = measured.cells.filter(pl.col("animals") < measured.k)
    items = [
        Markup("{}: {}").format(whole(row["animals"]), ", ".join(row[fact] for fact in FACTS))
        for row in small.head(SHOWN).iter_rows(named=True)
    ]
    more = max(0, small.height - SHOWN)
    said = [paragraph(f"And {whole(more)} more in reidentification_cells.csv.")] if more else []
    return Section(
        "smallest", "The smallest cells", "Smallest cells",
        (paragraph("Number of animals, then clinic, breed, sex, age and year."),
         bullets(items), *said),
    )  # fmt: skip


def _count_names(k: int) -> tuple[str, ...]:
    return ("Cells", "Smallest", f"Animals in cells under {k}", "Alone")


def _counts(row: dict[str, Any]) -> tuple[Cell, ...]:
    share = fixed(100 * row["share_under_k"], 1)
    small = Cell(whole(row["animals_under_k"]), detail=f"{share} of 100")
    cells, smallest, alone = (
        Cell(whole(row[name])) for name in ("cells", "smallest_cell", "unique_animals")
    )
    return (cells, smallest, small, alone)


def _in_words(row: dict[str, Any]) -> str:
    said = [f"{NAMES[fact]}: {row[fact]}" for fact in FACTS if row[fact] != LADDERS[fact][0]]
    return "; ".join(said) or "Nothing"
