"""Tables of codes: linked, made the cohort of, counted and fitted as those of texts are."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.analyse import analyse
from pipeline.cohort import Cohort, build_cohort
from pipeline.compare import compare
from pipeline.descriptive.courses import courses
from pipeline.descriptives import describe, precision_rows
from pipeline.link import link
from pipeline.linked import Linked
from pipeline.plan import parse_analyses
from pipeline.reidentification import measure
from pipeline.sql import open_database
from pipeline.study import read_study
from schemas.codebook import of_table
from shared.estimate import results_frame
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
DEMO = read_study(Path(__file__).parents[2] / "shared" / "demo")
PLAN = {"id": "by_sulcoplasty", "role": "secondary", "model": "risks", "outcome": "relux_by_183",
        "exposure": "sulcoplasty_type", "cluster": "animal_id"}  # fmt: skip
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


def test_of_two_causes_of_death_the_first_of_the_alphabet_counts_not_of_the_codes() -> None:
    """Told under two codes of one animal, it is that of all its joints; others have their own."""
    for tables in both_ways(tables_of(
        joint("A1", token="t1", death_cause="stifle_related"),
        joint("V1", "right", clinic="valley", token="t1", death_cause="anaesthesia_related"),
        joint("A2", death_cause="unrelated"), joint("A3"),
    )):  # fmt: skip
        table = made_of(tables)[1].table.select(
            "local_animal", pl.col("death_cause").cast(pl.String)
        )
        assert dict(table.rows()) == {"A1": "anaesthesia_related", "V1": "anaesthesia_related",
                                      "A2": "unrelated", "A3": None}  # fmt: skip


def told_of(cohort: Cohort, tables: Mapping[str, pl.DataFrame]) -> Iterator[pl.DataFrame]:
    """Give all that is counted and fitted of a cohort and its linked tables."""
    study = replace(DEMO, analyses=(*DEMO.analyses[:2], PLAN))
    table, events, recurrent = cohort.table, cohort.events, cohort.recurrent
    yield results_frame(describe(
        table, study, CODEBOOK, events=events, recurrent=recurrent, tables=tables
    ))  # fmt: skip
    yield results_frame(precision_rows(table, parse_analyses(study.analyses)))
    yield analyse(table, replace(study, analyses=(PLAN,)), recurrent=recurrent).results
    yield compare(table, study).results
    yield courses(table, events, tables["rechecks"], seed=1)
    yield measure(tables, k=5).cells


def test_codes_and_texts_of_the_cohort_give_the_same_results() -> None:
    coded, _ = both_ways(random_tables(2, 300))
    linked, cohort = made_of(coded)
    texts = replace(
        cohort, table=as_text(cohort.table), events=as_text(cohort.events),
        recurrent=as_text(cohort.recurrent),
    )  # fmt: skip
    tables = {name: as_text(frame) for name, frame in linked.tables.items()}
    told, other = told_of(cohort, linked.tables), told_of(texts, tables)
    for frame, same in zip(told, other, strict=True):
        assert frame.height
        assert_frame_equal(frame, same)


def test_statements_read_codes_as_the_texts_they_stand_for() -> None:
    """Words that are none of the codes may stand beside them; the order is the alphabet's."""
    words = ["none", "cruciate", None, "patellar"]
    codes = pl.Series(words, dtype=pl.Enum(["none", "patellar", "cruciate"]))
    with open_database({"told": pl.DataFrame({"place": range(4), "word": codes})}) as connection:
        found = connection.sql(
            "SELECT coalesce(word, 'nothing'), word IN ('none', 'tibial'), "
            "list_contains(['patellar', 'tibial'], word), word <> 'tibial' FROM told ORDER BY place"
        )
        assert found.fetchall() == [
            ("none", True, False, True), ("cruciate", False, False, True),
            ("nothing", None, None, None), ("patellar", False, True, True),
        ]  # fmt: skip
        every = connection.sql("SELECT min(word), max(word) FROM told").fetchall()
        assert every == [("cruciate", "patellar")]
        both = connection.sql("SELECT word FROM told UNION ALL SELECT 'tibial' ORDER BY word")
        assert both.fetchall() == [("cruciate",), ("none",), ("patellar",), ("tibial",), (None,)]
