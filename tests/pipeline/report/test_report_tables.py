"""Tables as HTML and CSV: headers, addresses, escaping."""

import csv
import io
from html.parser import HTMLParser

import pytest

from pipeline.report.tables import Cell, Line, Table, as_csv, as_html

MINDED = Cell("12 (8 to 17)", "a/risk", concerns=("few & small",))
TABLE = Table(
    id="t", caption="Counts <b>", columns=("Breed", "Stifles"),
    lines=(
        Line("Group"),
        Line("<script>alert(1)</script>", (MINDED,)),
        Line("=cmd", (Cell("-3"),)),
    ),
)  # fmt: skip


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))


def _tags(html: str) -> list[tuple[str, dict[str, str | None]]]:
    parser = _Tags()
    parser.feed(html)
    return parser.seen


def test_every_header_says_what_it_heads() -> None:
    headers = [attrs.get("scope") for tag, attrs in _tags(as_html(TABLE)) if tag == "th"]
    assert headers == ["col", "col", "rowgroup", "row", "row"]


def test_cells_carry_the_row_they_come_from() -> None:
    rows = [attrs.get("data-row") for tag, attrs in _tags(as_html(TABLE)) if tag == "td"]
    assert rows == ["a/risk", None]


def test_text_of_the_data_never_becomes_a_tag() -> None:
    html = as_html(TABLE)
    assert "script" not in [tag for tag, _ in _tags(html)]
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "Counts &lt;b&gt;" in html
    assert "few &amp; small" in html


def test_what_is_to_be_minded_stands_under_the_table_by_a_letter() -> None:
    html = as_html(TABLE)
    assert '<a href="#t-a">a</a>' in html
    assert '<li id="t-a"><sup>a</sup> few &amp; small</li>' in html


def test_csv_holds_text_and_address_and_no_formula() -> None:
    lines = list(csv.reader(io.StringIO(as_csv(TABLE))))
    assert lines[0] == ["Breed", "Stifles", "Stifles [row]"]
    assert lines[2] == ["<script>alert(1)</script>", "12 (8 to 17); few & small", "a/risk"]
    assert lines[3][:2] == ["'=cmd", "'-3"]


def test_a_line_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        Table(id="t", caption="", columns=("A", "B", "C"), lines=(Line("x", (Cell("1"),)),))
