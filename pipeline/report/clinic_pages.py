"""One plain feedback page per clinic; nothing in it tells who the other clinics are."""

from pathlib import Path

import polars as pl
from markupsafe import Markup

from pipeline.report import blocks
from pipeline.report.blocks import Section, paragraph, picture, three
from pipeline.report.clinic_material import ClinicView, Compared
from pipeline.report.clinic_sentences import most_asked, three_things
from pipeline.report.figures import data_uri, drawing, svg_of
from pipeline.report.funnels import clinic_rows, funnel_figure
from pipeline.report.labels import listed, small
from pipeline.report.material import Material
from pipeline.report.rows import flow_id
from pipeline.report.suppress import hidden
from pipeline.report.tables import EMPTY, Cell, Line, Table, as_html
from pipeline.report.text import estimate_and_interval, fixed, whole
from shared.estimate import results_frame
from shared.files import fingerprint_text, write_text

HIDDEN = "not shown"


def write_clinic_pages(out: Path, material: Material) -> list[Path]:
    """Write ``clinics/<clinic>.html`` below `out`, one page per clinic of the study."""
    # Clinics may guess the seed, but do not have the results of the whole study.
    salt = fingerprint_text(f"{material.study.seed}\n{results_frame(material.rows).write_csv()}")
    written: list[Path] = []
    with drawing():
        for clinic in material.study.clinics:
            path = out / "clinics" / f"{clinic}.html"
            write_text(path, clinic_page(ClinicView(clinic, material, salt)))
            written.append(path)
    return written


def clinic_page(view: ClinicView) -> str:
    """Write the page of one clinic: the same layout every year."""
    sections = [
        _own_section(view),
        _compared_section(view),
        _recheck_section(view),
        _missing_section(view),
        _asked_section(view),
    ]
    name = view.material.labels.clinic(view.clinic)
    return blocks.page(
        title=f"Feedback for {name}",
        design=f"From the study “{view.material.study.title}”. For your clinic only.",
        contents=[], lead=[three(three_things(view))], sections=sections,
        imprint="Counts from 1 to 4 are shown as “<5”. Other clinics are letters that mean "
        "something else in every copy; letters say nothing of order.",
    )  # fmt: skip


def _own_section(view: ClinicView) -> Section:
    flow = view.material.flow.filter(pl.col("clinic_id") == view.clinic).sort("step")
    if flow.is_empty():
        nothing = paragraph("No stifle of your clinic is in the study yet.")
        return Section("own", "Your stifles", "Your stifles", (nothing,))
    start, end = flow.row(0, named=True), flow.row(-1, named=True)
    counts = {
        "accepted": start["stifles"], "studied": end["stifles"],
        "left": start["stifles"] - end["stifles"],
    }  # fmt: skip
    gone = hidden(counts, [("accepted", "studied", "left")], smallest=view.smallest)
    words = (
        ("accepted", "Operated stifles accepted", start["step"]),
        ("studied", "Of these studied", end["step"]),
        ("left", "Outside the protocol", end["step"]),
    )
    lines = tuple(
        Line(
            title,
            (Cell(_own_count(counts[name], name in gone, view),
                  flow_id(step, view.clinic, "stifles")),),
        )
        for name, title, step in words
    )  # fmt: skip
    table = Table(id="own", caption="Your stifles", columns=("What", "Stifles"), lines=lines)
    return Section("own-stifles", "Your stifles", "Your stifles", (as_html(table),))


def _own_count(count: int, is_hidden: bool, view: ClinicView) -> str:
    if is_hidden and not view.is_small(count):
        return HIDDEN
    return view.count(count)


def _compared_section(view: ClinicView) -> Section:
    pieces: list[Markup] = [
        paragraph(
            "Your events against those to be expected if your stifles had fared as stifles of the "
            "same kind did in all clinics. Between the limits, differences are no larger than "
            "chance makes them. This is no ranking."
        )
    ]
    labels = view.material.labels
    for outcome, item in view.outcomes():
        small_count = view.is_small(item.ratio.events or 0)
        ratio = HIDDEN if small_count else estimate_and_interval(item.ratio)
        observed = view.count(item.ratio.events)
        expected = item.expected
        cells = (
            Cell(observed, item.observed.row_id if item.observed else item.ratio.row_id),
            Cell(fixed(expected.estimate or 0, 1), expected.row_id) if expected else EMPTY,
            Cell(ratio, item.ratio.row_id),
        )
        table = Table(
            id=f"compared-{outcome}".replace("_", "-"), caption=labels.outcome(outcome),
            columns=("Clinic", "Observed", "Expected", "Observed over expected (95% interval)"),
            lines=(Line("Your clinic", cells),),
        )  # fmt: skip
        pieces.append(as_html(table))
        pieces += _funnel(view, outcome)
    if len(pieces) == 1:
        pieces = [paragraph("Clinics could not be compared.")]
    return Section("compared", "Your case mix and what to expect", "Compared", tuple(pieces))


def _funnel(view: ClinicView, outcome: str) -> list[Markup]:
    label = view.material.labels.outcome(outcome)
    names = view.names(outcome)
    figure = funnel_figure(
        clinic_rows(view.material.rows, outcome), view.material.curves, names=names,
        own=(view.clinic,), outcome=(outcome, label),
    )  # fmt: skip
    if figure is None:
        return []
    missing = "" if view.clinic in names else " Your own point is not drawn: too few events."
    return [
        picture(
            data_uri(svg_of(figure)),
            alt=f"Clinics around the ratio 1 for {small(label)}; yours is named, if it is drawn.",
            caption=f"{label}: yours and the others, as letters. Clinics with fewer than 5 events "
            f"are not drawn.{missing}",
            numbers=Markup(""),
        )
    ]


def _recheck_section(view: ClinicView) -> Section:
    table = _share_table(
        view, view.compared("rechecks", "proportion"), table_id="adequate-rechecks",
        caption="Stifles with an adequate recheck",
    )  # fmt: skip
    said = paragraph("Of those operated long enough before your export. Rates depend on looking.")
    return Section("rechecked", "Who was rechecked", "Rechecks", (said, as_html(table)))


def _missing_section(view: ClinicView) -> Section:
    planned = {column for item in view.material.analyses for column in item.terms}
    items = [item for item in view.compared("missing", "proportion") if item.own.term in planned]
    table = _share_table(view, items, table_id="not-recorded", caption="Not recorded")
    return Section("missing", "What is missing", "Missing", (as_html(table),))


def _share_table(view: ClinicView, items: list[Compared], *, table_id: str, caption: str) -> Table:
    lines = tuple(
        Line(
            f"To day {whole(item.own.day)}"
            if item.own.day is not None
            else view.material.labels.name(item.own.term or ""),
            (
                Cell(view.share(item.own), item.own.row_id),
                Cell(view.share(item.network), item.network.row_id) if item.network else EMPTY,
            ),
        )
        for item in items
    )
    columns = ("What", "Your clinic", "All clinics")
    return Table(id=table_id, caption=caption, columns=columns, lines=lines)


def _asked_section(view: ClinicView) -> Section:
    names = most_asked(view)
    pieces = [
        paragraph(
            "Your list of questions comes as a workbook; answer each with corrected, correct as "
            "it is, or cannot be found."
        )
    ]
    if names:
        pieces.append(paragraph(f"Most questions are about {listed(names)}."))
    return Section("asked", "Questions to you", "Questions", tuple(pieces))
