"""The pattern of what is missing, drawn: whole columns are one clinic that never records it."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.report.baseline_table import ALL
from pipeline.report.blocks import picture
from pipeline.report.draw_missing import draw_missing
from pipeline.report.labels import Labels
from pipeline.report.pictures import Pictures
from pipeline.report.rows import distinct
from shared.estimate import Estimate


def missing_grid(rows: Sequence[Estimate], labels: Labels, pictures: Pictures) -> list[Markup]:
    """Draw the share not recorded of every variable with a gap, clinic by clinic."""
    clinics = [clinic for clinic in distinct(row.group for row in rows) if clinic != ALL]
    gaps = {row.term: row.estimate or 0.0 for row in rows if row.group == ALL and row.events}
    names = sorted((name for name in gaps if name), key=lambda name: (-gaps[name], name))
    if not names or not clinics:
        return []
    found = {(row.term, row.group): row.estimate for row in rows}
    figure = draw_missing(
        [[found.get((name, clinic)) for clinic in clinics] for name in names],
        [labels.name(name) for name in names],
        [labels.clinic(clinic) for clinic in clinics],
    )
    block = picture(
        pictures.draw("missing", figure),
        alt="A grid of variables by clinic, darker where more is not recorded; the numbers stand "
        "in the tables below.",
        caption="Not recorded, per 100, of every variable with a gap, the largest gap first; a "
        "blank field has no gap. What does not apply to an operation (no K-wires, no band) counts "
        "as a gap here.",
        numbers=Markup(""),
    )
    return [block]
