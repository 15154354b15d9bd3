"""What leaves the coordinator: nobody is named, no small count is told."""

import re
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import unquote

import polars as pl
import pytest

from pipeline.report.clinic_material import ClinicView, letters_of_copy
from pipeline.report.clinic_pages import write_clinic_pages
from pipeline.report.clinic_sentences import three_things
from pipeline.report.material import Material
from pipeline.report.public import write_public

CLINICS = ("harbour", "lake", "north", "plateau", "valley")


def _text(path: Path) -> str:
    """All of a file, texts inside its drawings too."""
    return unquote(path.read_text("utf-8"))


@pytest.mark.parametrize("clinic", CLINICS)
def test_a_clinic_page_names_no_other_clinic(pages: Path, clinic: str) -> None:
    text = _text(pages / "clinics" / f"{clinic}.html")
    others = [name for name in CLINICS if name != clinic]
    assert re.findall(rf"\b({'|'.join(others)})\b", text, flags=re.IGNORECASE) == []
    assert re.search(rf"\b{clinic}\b", text, flags=re.IGNORECASE)


def test_nothing_public_names_a_clinic_or_surgeon(pages: Path) -> None:
    files = sorted((pages / "public").iterdir())
    assert [path.name for path in files] == ["report.html", "results.csv"]
    for path in files:
        text = _text(path)
        assert re.findall(rf"\b({'|'.join(CLINICS)})\b", text, flags=re.IGNORECASE) == []
        assert "clinic_id" not in text
        assert re.findall(r"\bS\d+\b", text) == []


def test_no_public_row_tells_a_count_from_one_to_four(pages: Path) -> None:
    rows = pl.read_csv(pages / "public" / "results.csv", infer_schema_length=None)
    assert len(rows) > 500
    for column in ("n", "events", "n_dropped"):
        assert rows.filter(pl.col(column).is_between(1, 4)).is_empty(), column
    counted = rows.filter(pl.col("measure") == "count")
    assert counted.filter(pl.col("estimate").is_between(1, 4)).is_empty()
    shares = rows.filter(pl.col("measure").is_in(["proportion", "risk"]))
    assert shares.filter((pl.col("n") - pl.col("events")).is_between(1, 4)).is_empty()
    assert rows["concerns"].str.contains("small_count").any()


def test_public_accrual_is_of_all_clinics_and_hides_small_years(pages: Path) -> None:
    rows = pl.read_csv(pages / "public" / "results.csv", infer_schema_length=None).filter(
        pl.col("analysis") == "accrual"
    )
    assert set(rows["group"]) == {"all"}
    assert rows.filter(pl.col("estimate").is_between(1, 4)).is_empty()
    assert rows["estimate"].is_null().sum() != 1  # one alone would follow from the total


def test_hidden_public_counts_cannot_be_had_by_subtraction(pages: Path) -> None:
    rows = pl.read_csv(pages / "public" / "results.csv", infer_schema_length=None).filter(
        pl.col("analysis").str.starts_with("table1_") & (pl.col("measure") == "proportion")
    )
    hidden = pl.col("estimate").is_null()
    by_level = rows.group_by("analysis", "term", "level").agg(n_hidden=hidden.sum(), arms=pl.len())
    assert len(by_level) > 20
    assert by_level.filter((pl.col("n_hidden") == 1) & (pl.col("arms") > 1)).is_empty()


def test_the_public_flow_has_no_step_that_few_left(pages: Path, given: SimpleNamespace) -> None:
    shown = _text(pages / "public" / "report.html")
    table = shown[shown.index('id="flow-table"') : shown.index("Who was in the arms")]
    left = [int(text.replace(",", "")) for text in re.findall(r'left_stifles">([\d,]+)<', table)]
    assert left
    assert [count for count in left if 0 < count < 5] == []
    last = given.flow.filter(pl.col("clinic_id") == "all").sort("step")["stifles"][-1]
    assert f">{last}<" in table


@pytest.mark.parametrize("clinic", CLINICS)
def test_clinic_pages_print_no_count_from_one_to_four(pages: Path, clinic: str) -> None:
    text = (pages / "clinics" / f"{clinic}.html").read_text("utf-8")
    cells = re.findall(r"<td[^>]*>([^<]*)", text)
    assert len(cells) > 10
    assert [cell for cell in cells if re.fullmatch(r"[1-4]", cell.strip())] == []


def test_letters_differ_from_copy_to_copy_and_stay_in_a_rerun() -> None:
    copies = [letters_of_copy(CLINICS, reader=name, salt="s") for name in CLINICS]
    assert all(sorted(copy.values()) == ["A", "B", "C", "D", "E"] for copy in copies)
    assert len({tuple(sorted(copy.items())) for copy in copies}) == len(CLINICS)
    assert letters_of_copy(CLINICS, reader="north", salt="s") == copies[2]
    assert letters_of_copy(CLINICS, reader="north", salt="t") != copies[2]


def test_a_clinic_with_few_events_is_not_drawn(material: Material) -> None:
    view = ClinicView("north", material, "s")
    few = {
        row.group
        for row in material.rows
        if row.measure == "standardised_ratio"
        and row.outcome == "relux_state"
        and (row.events or 0) < 5
    }
    assert few
    assert few.isdisjoint(view.names("relux_state"))


@pytest.mark.parametrize("clinic", CLINICS)
def test_every_clinic_reads_something_true_that_goes_well(material: Material, clinic: str) -> None:
    boxes = {kind: items for kind, _, items in three_things(ClinicView(clinic, material, "s"))}
    assert list(boxes) == ["well", "look", "send"]
    assert all(items for items in boxes.values())


def test_two_runs_write_the_same_bytes(pages: Path, material: Material, tmp_path: Path) -> None:
    written = [*write_clinic_pages(tmp_path, material), *write_public(tmp_path, material)]
    assert len(written) == len(CLINICS) + 2
    for path in written:
        assert path.read_bytes() == (pages / path.relative_to(tmp_path)).read_bytes()
