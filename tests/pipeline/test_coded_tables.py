"""Accepted tables of codes: linked, and made the cohort of, as those of texts are."""

from datetime import timedelta

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.cohort import Cohort, build_cohort
from pipeline.link import link
from pipeline.linked import Linked
from schemas.codebook import of_table
from shared.files import as_text
from tests.pipeline.invented import (
    CODEBOOK,
    DAY_0,
    Tables,
    event,
    holds_of,
    joint,
    revision,
    study_of,
    tables_of,
    visit,
)  # fmt: skip
from tests.pipeline.random_studies import random_tables

LATER = DAY_0 + timedelta(days=300)
FRAMES = ("operations", "holds", "near_matches", "findings", "animals", "sent")


def both_ways(tables: Tables) -> list[Tables]:
    """Give the tables with the declared categories as codes, and with all of them as texts."""
    texts = {name: as_text(frame) for name, frame in tables.items()}
    coded = {name: frame.with_columns(
        pl.col(item.name).cast(pl.Enum(list(item.codes))) for item in of_table(CODEBOOK, name)
        if item.kind == "category") for name, frame in texts.items()}  # fmt: skip
    return [coded, texts]


def made_of(tables: Tables) -> tuple[Linked, Cohort]:
    held = tables["stifles"].select("clinic_id", "local_stifle").gather_every(7)
    linked = link(tables, holds_of(*((*key, "outcome:reluxation") for key in held.rows())))
    return linked, build_cohort(linked, study_of())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_codes_and_texts_give_the_same_cohort(seed: int) -> None:
    (linked, cohort), (as_told, other) = map(made_of, both_ways(random_tables(seed, 300)))
    for name in linked.tables:
        assert_frame_equal(as_text(linked.tables[name]), as_told.tables[name])
    for name in FRAMES:
        assert_frame_equal(getattr(linked, name), getattr(as_told, name))
    for name in ("table", "flow", "events", "recurrent"):
        assert_frame_equal(as_text(getattr(cohort, name)), as_text(getattr(other, name)))
    assert cohort.counts == other.counts


def test_linked_tables_keep_their_codes() -> None:
    """Also where operations sent as new cases make revisions, and where ends are joined."""
    course = {"rechecks": [visit(40)], "complications": [event("reluxation", 50)],
              "revisions": [revision("infection", 60)]}  # fmt: skip
    tables, _ = both_ways(tables_of(
        joint(token="t1", course=course), joint("V9", clinic="valley", token="t1", on=LATER)
    ))  # fmt: skip
    linked, _ = made_of(tables)
    assert sorted(linked.tables["revisions"]["revision_reason"]) == ["infection", "reluxation"]
    for name, frame in linked.tables.items():
        coded = {column: kind for column, kind in tables[name].schema.items() if kind == pl.Enum}
        assert coded.items() <= frame.schema.items()
