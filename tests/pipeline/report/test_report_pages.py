"""The pages as they are written: addresses, words, escaping, the same bytes twice."""

import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import polars as pl
import pytest

from pipeline.report.material import Material
from pipeline.report.pages import write_report

VOID = {"meta", "link", "img", "br", "hr", "input"}


class _Page(HTMLParser):
    """Cells with their addresses, headings, ids, links and visible text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.cells: list[tuple[str, str | None]] = []
        self.headings: list[int] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.rows: list[str] = []
        self.tags: list[str] = []
        self.words: list[str] = []
        self.images: list[dict[str, str | None]] = []
        self._open: list[str] = []
        self._cell: list[str] | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append(tag)
        if tag not in VOID:
            self._open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if found.get("id"):
            self.ids.append(found["id"] or "")
        for name in ("href", "src"):
            if found.get(name):
                self.links.append(found[name] or "")
        if tag == "img":
            self.images.append(found)
        if "data-row" in found:
            self.rows.append(found["data-row"] or "")
        if tag == "td":
            self._cell = []
            self.cells.append(("", found.get("data-row")))

    def handle_endtag(self, tag: str) -> None:
        if tag in self._open:
            while self._open.pop() != tag:
                pass
        if tag == "td" and self._cell is not None:
            self.cells[-1] = ("".join(self._cell), self.cells[-1][1])
            self._cell = None

    def handle_data(self, data: str) -> None:
        if self._cell is not None:
            self._cell.append(data)
        if not {"style", "code", "script"} & set(self._open):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(self.words)


@pytest.fixture(scope="module")
def index(pages: Path) -> _Page:
    return _Page((pages / "report" / "index.html").read_text("utf-8"))


@pytest.fixture(scope="module", params=["index.html", "surgeon.html"])
def page(request: pytest.FixtureRequest, pages: Path) -> _Page:
    return _Page((pages / "report" / request.param).read_text("utf-8"))


def _known_ids(given: SimpleNamespace) -> set[str]:
    flow = {
        f"flow/{row['step']}/{row['clinic_id']}/{unit}"
        for row in given.flow.iter_rows(named=True)
        for unit in ("operations", "animals", "stifles", "left_operations", "left_stifles")
    }
    return set(given.results["row_id"]) | flow


def test_every_number_in_a_cell_has_an_address(page: _Page, given: SimpleNamespace) -> None:
    known = _known_ids(given)
    numbers = [(text, row) for text, row in page.cells if re.match(r"[−<>]?\d", text.strip())]
    assert len(numbers) > 20
    loose = [
        text for text, row in numbers if row is None and not re.match(r"\d{4}-|\d+\.\d+\.", text)
    ]
    assert loose == []
    strange = {row for _, row in numbers if row} - known
    assert {row.split("/")[0] for row in strange} <= {"curves", "checks"}


def test_every_address_in_prose_is_known(page: _Page, given: SimpleNamespace) -> None:
    strange = set(page.rows) - _known_ids(given)
    assert {row.split("/")[0] for row in strange} <= {"curves", "checks"}


def test_no_raw_code_reaches_a_reader(page: _Page) -> None:
    codes = set(re.findall(r"\b[a-z]+(?:_[a-z0-9]+)+\b", page.text))
    assert codes == set()


@pytest.mark.parametrize("word", ["NaN", "None ", "inf ", "null", "1e-05", "e-0"])
def test_no_word_of_a_computer_is_printed(page: _Page, word: str) -> None:
    assert word not in page.text


def test_pages_need_no_network_and_no_script(page: _Page) -> None:
    outside = [link for link in page.links if re.match(r"(https?:)?//", link)]
    assert outside == []
    assert "script" not in page.tags


def test_text_of_the_study_is_escaped(index: _Page) -> None:
    assert "<script>alert(1)</script>" in index.text


def test_headings_follow_in_order_and_ids_are_unique(page: _Page) -> None:
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    steps = zip(page.headings, page.headings[1:], strict=False)
    assert all(later - earlier <= 1 for earlier, later in steps)
    assert len(page.ids) == len(set(page.ids))


def test_links_inside_the_page_lead_somewhere(page: _Page) -> None:
    inside = {link[1:] for link in page.links if link.startswith("#")}
    assert inside <= set(page.ids)


def test_every_picture_says_what_it_shows(index: _Page) -> None:
    assert len(index.images) > 4
    assert all(len(image.get("alt") or "") > 20 for image in index.images)


def test_cautions_and_statements_are_printed(page: _Page, index: _Page) -> None:
    assert "not treatment advice" in page.text
    assert "Licensed veterinary judgement" in page.text
    assert "Committee of the example, 12/2025" in index.text
    assert index.text.count("not stated") == 3


def test_absolute_risks_come_before_ratios(index: _Page) -> None:
    assert index.text.index("of 100 stifles") < index.text.index("Hazard ratio")
    said = " ".join(index.text.split())
    assert "in about 12 of 100 stifles with wedge recession" in said
    assert "in about 8 of 100 with block recession" in said


def test_operations_by_year_are_drawn_and_laid_out_by_clinic(
    index: _Page, given: SimpleNamespace, pages: Path
) -> None:
    rows = given.results.filter(pl.col("analysis") == "accrual")
    assert set(rows["row_id"]) <= set(index.rows)
    total = rows.filter(pl.col("group") == "all")["estimate"].sum()
    assert total == given.flow.filter(pl.col("clinic_id") == "all").sort("step")["stifles"][-1]
    assert (pages / "report" / "figures" / "accrual.svg").is_file()


def test_a_wide_interval_is_never_called_no_difference(page: _Page) -> None:
    assert "no difference" not in page.text.lower()


def test_two_runs_write_the_same_bytes(material: Material, pages: Path, tmp_path: Path) -> None:
    again = write_report(tmp_path, material)
    assert len(again) > 30
    for path in again:
        name = path.relative_to(tmp_path)
        assert path.read_bytes() == (pages / name).read_bytes(), name


def test_a_label_that_is_a_tag_is_shown_as_text(
    given: SimpleNamespace, changed: Callable[..., Material], tmp_path: Path
) -> None:
    planted = '<script>alert("x")</script>'
    info = {**given.run_info, "deviations": (planted,)}
    flow = given.flow.with_columns(label=pl.lit(planted))
    write_report(tmp_path, changed(flow=flow, run_info=info, curves=given.curves.clear()))
    text = (tmp_path / "report" / "index.html").read_text("utf-8")
    assert "script" not in _Page(text).tags
    assert "&lt;script&gt;" in text


def test_without_results_a_report_is_still_written(
    given: SimpleNamespace, changed: Callable[..., Material], tmp_path: Path
) -> None:
    write_report(tmp_path, changed(results=given.results.clear(), curves=given.curves.clear()))
    text = (tmp_path / "report" / "index.html").read_text("utf-8")
    assert "No risk of a primary question" in text
