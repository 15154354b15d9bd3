"""How well a Cox model puts stifles in order: Harrell's concordance beside Uno's."""

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.blocks import paragraph
from pipeline.report.material import Material
from pipeline.report.rows import number, of
from pipeline.report.text import day_text, estimate_text

WHAT = (
    "Concordance is the share of pairs of stifles in which the one that had the event first was "
    "given the higher hazard (0.5 is chance). Harrell's hangs on how long stifles were followed; "
    "Uno's does not."
)


def concordances(analysis: Analysis, material: Material) -> list[Markup]:
    """Say both concordances of each version of a Cox model; nothing for another model."""
    if analysis.model != "cox":
        return []
    said: list[Markup] = []
    for row in of(material.rows, "concordance", analysis=analysis.id):
        uno = next(
            iter(of(material.rows, "uno_concordance", analysis=analysis.id,
                    adjustment=row.adjustment)), None,
        )  # fmt: skip
        text = Markup("{}: Harrell's {}").format(
            (row.adjustment or "crude").capitalize(), number(estimate_text(row), row.row_id)
        )
        if uno is not None and uno.estimate is not None:
            until = f" up to {day_text(uno.day)}" if uno.day is not None else ""
            text += Markup(", Uno's{} {}").format(
                until, number(estimate_text(uno), uno.row_id)
            )  # fmt: skip
        elif uno is not None:
            text += Markup(", Uno's {} (rows enter late)").format(
                number(estimate_text(uno), uno.row_id)
            )
        said.append(text + ".")
    return [paragraph(Markup(" ").join([Markup(WHAT), *said]), "note")] if said else []
