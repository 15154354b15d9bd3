"""The five demo exports drafted, and compared with the mappings that people wrote for them.

The lists of words were written by people who knew these five exports, so the shares say that the
drafting works, not how well it guesses an export it has never seen.
"""

import shutil
import tomllib
from pathlib import Path

import pytest

from pipeline.draft.draft import Draft
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.mapping_file import read_mapping
from pipeline.intake.mapping_schema import mapping_schema
from pipeline.intake.study_intake import read_study
from shared.errors import MappingError
from tests.pipeline.draft.drafted import (
    CLINICS,
    CODEBOOK,
    DEMO,
    NOT_DRAFTED,
    draft_of,
    reads,
    settled,
)
from tests.pipeline.intake.json_schema import faults

# Share of (column, variable) pairs of the written mapping that the draft proposes too.
# Measured 1.00 for every clinic.
LEAST_SHARE = 0.98
# encoding, delimiter, decimal mark, date form, whether its order is proved. Harbour's export has
# planted dates of the other order, so its order is not.
WRITTEN = {
    "north": ("utf-8", ",", ".", "DD/MM/YYYY", True),
    "valley": ("cp1252", ";", ",", "DD.MM.YYYY", True),
    "lake": ("utf-8", ",", ",", "DD/MM/YYYY", True),
    "harbour": ("utf-8", "\t", ".", "MM/DD/YYYY", False),
    "plateau": ("utf-8-sig", "|", ",", "DD-MMM-YYYY", True),
}


@pytest.mark.parametrize("clinic", CLINICS)
def test_columns_mean_what_people_said_they_mean(
    clinic: str, drafts: dict[str, Draft], tmp_path: Path
) -> None:
    written = reads(DEMO / "mappings" / f"{clinic}.toml")
    wanted = {item for item in written if item[0] != NOT_DRAFTED}
    found = reads(settled(drafts[clinic], tmp_path))
    share = len(wanted & found) / len(wanted)
    assert len(wanted) > 40
    assert share >= LEAST_SHARE, sorted(wanted - found)


@pytest.mark.parametrize("clinic", CLINICS)
def test_the_way_a_clinic_writes_is_seen(clinic: str, drafts: dict[str, Draft]) -> None:
    draft = drafts[clinic]
    dialect = draft.sheets[0].grid.raw.dialect
    form = draft.dates[0]
    marks = draft.tongue.marks
    seen = (dialect.encoding, dialect.delimiter, marks.decimal, form.form, form.proved)
    assert seen == WRITTEN[clinic]


@pytest.mark.parametrize("clinic", CLINICS)
def test_nothing_of_a_draft_runs_before_a_person_settled_it(
    clinic: str, drafts: dict[str, Draft], tmp_path: Path
) -> None:
    path = tmp_path / f"{clinic}.toml"
    path.write_text(mapping_text(drafts[clinic], CODEBOOK), "utf-8")
    with pytest.raises(MappingError, match="guesses wait for a person"):
        read_mapping(path, CODEBOOK)


@pytest.mark.parametrize("clinic", CLINICS)
def test_a_draft_fits_the_schema_that_editors_follow(clinic: str, drafts: dict[str, Draft]) -> None:
    schema = mapping_schema(CODEBOOK)
    written = tomllib.loads(mapping_text(drafts[clinic], CODEBOOK))
    assert written["to_confirm"]
    assert faults(written, schema, schema) == []


def test_every_variable_without_a_column_is_listed_core_ones_first(
    drafts: dict[str, Draft],
) -> None:
    """North does not say how deep the hole of the band is, which is not core."""
    lacking = [item.name for item in drafts["north"].lacking]
    assert "tb_hole_depth_pct" in lacking
    core = [item.core in ("yes", "key") for item in drafts["north"].lacking]
    assert core == sorted(core, reverse=True)
    given = {line.variable for made in drafts["north"].made for line in made.lines}
    assert not given & set(lacking)


def test_header_rows_below_titles_and_a_totals_row_are_seen(drafts: dict[str, Draft]) -> None:
    sheets = {sheet.grid.name: sheet.grid.header.header_row for sheet in drafts["lake"].sheets}
    assert sheets == {"Opérations": 3, "Contrôles": 2, "Complications": 2}
    aside = drafts["lake"].aside["Opérations"]
    assert [(item.column, item.text, item.reason) for item in aside] == [
        ("N° dossier", "TOTAL", "totals row")
    ]


def test_a_simple_export_reads_as_with_the_written_mapping(
    drafts: dict[str, Draft], tmp_path: Path
) -> None:
    """North: the drafted mapping with its blocks deleted and nothing else changed."""
    tables = {}
    for who in ("drafted", "written"):
        study = tmp_path / who
        shutil.copytree(DEMO / "exports" / "north", study / "exports" / "north")
        if who == "drafted":
            (study / "exports" / "north" / NOT_DRAFTED).unlink()
        (study / "mappings").mkdir()
        if who == "drafted":
            settled(drafts["north"], study / "mappings")
        else:
            shutil.copy(DEMO / "mappings" / "north.toml", study / "mappings")
        tables[who] = read_study(study, CODEBOOK).tables
    differ = {
        (table, name): int(rows[name].ne_missing(tables["drafted"][table][name]).sum())
        for table, rows in tables["written"].items() if table not in ("clinics", "measurements")
        for name in rows.columns
    }  # fmt: skip
    assert not {cell: n for cell, n in differ.items() if n}
    assert sum(rows.height for rows in tables["drafted"].values()) > 1500


def test_the_same_export_gives_the_same_text(drafts: dict[str, Draft]) -> None:

    again = mapping_text(draft_of("plateau"), CODEBOOK)
    assert again == mapping_text(drafts["plateau"], CODEBOOK)
