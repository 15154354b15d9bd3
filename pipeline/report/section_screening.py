"""What was not read because it looks like a direct identifier, and what was read all the same."""

import polars as pl
from markupsafe import Markup

from pipeline.intake.screen_patterns import KINDS
from pipeline.report.counts import count_id
from pipeline.report.labels import listed
from pipeline.report.material import Material
from pipeline.report.rows import number
from pipeline.report.text import whole


def screening_part(material: Material) -> list[tuple[str, list[Markup]]]:
    """Say how much was refused, and name each column that the coordinator let in, and why."""
    refused, allowed = material.counts.refused, material.counts.allowed
    sentences = [*_refused(refused)]
    sentences += [
        Markup("{}: the column “{}” was read although it looks like {}. Reason given: {}").format(
            material.labels.clinic(row["clinic_id"]), row["column"],
            listed(KINDS[kind].says for kind in row["kinds"].split(", ")), row["because"],
        )
        for row in allowed.iter_rows(named=True)
    ]  # fmt: skip
    return [("What could name an owner was not read", sentences)] if sentences else []


def _refused(refused: pl.DataFrame) -> list[Markup]:
    if refused.is_empty():
        return []
    cells = refused.filter(rule="S01")["n"].sum()
    columns = refused.filter(pl.col("rule") != "S01")["n"].sum()
    return [
        Markup(
            "{} cells and {} columns looked like direct identifiers. They were emptied before "
            "anything else read them; whatever else they said is lost to this study."
        ).format(
            number(whole(int(cells)), count_id("refused", "all", "cells")),
            number(whole(int(columns)), count_id("refused", "all", "columns")),
        )
    ]
