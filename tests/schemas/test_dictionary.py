"""The data dictionary and the empty tables made of the codebook."""

import pytest

from schemas.codebook import CANONICAL_TABLES, of_table, read_codebook
from schemas.dictionary import dictionary, template

BOOK = read_codebook()


def test_every_canonical_variable_has_one_row() -> None:
    rows = dictionary(BOOK).select("table", "variable").rows()
    assert rows == [(item.table, item.name) for item in BOOK if item.table in CANONICAL_TABLES]


def test_a_row_says_what_a_reader_needs() -> None:
    named = {row["variable"]: row for row in dictionary(BOOK, ["stifles"]).iter_rows(named=True)}
    grade = named["grade_preop"]
    assert grade["codes"].startswith("1 = Grade I; 2 = Grade II")
    assert (grade["limits"], grade["required"]) == ("1 to 4", "always")
    assert named["lameness_scale"]["required"] == "when stifles.lameness_preop present"


def test_a_template_is_the_header_of_its_table() -> None:
    names = [item.name for item in of_table(BOOK, "rechecks")]
    assert template(BOOK, "rechecks") == ",".join(names) + "\n"


def test_a_table_nobody_declared_has_no_template() -> None:
    with pytest.raises(KeyError):
        template(BOOK, "horses")
