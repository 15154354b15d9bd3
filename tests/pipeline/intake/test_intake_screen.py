"""Direct identifiers are refused where they stand, and their text goes nowhere."""

import polars as pl
import pytest

from pipeline.intake.screen_headers import header_kind
from pipeline.intake.screen_patterns import KINDS
from shared.errors import MappingError
from tests.pipeline.intake.screened import MAPPING, Read, everything

EXCEPTION = """[[not_identifying]]
column = "Case"
kinds = ["transponder"]
because = "case numbers of our own, fifteen digits"
"""


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("transponder", "276098106123456"),
        ("transponder", "chip 276 098 106 123 456 read"),
        ("email", "write to a.b@example.org"),
        ("phone", "call +49 30 1234567"),
        ("phone", "0221 4567890"),
        ("phone", "555-010-1234 (owner)"),
        ("address", "lives at 12 Long Street"),
        ("address", "Lindenstraße 4"),
        ("address", "14 rue des Lilas"),
        ("address", "calle Mayor 3"),
    ],
)
def test_a_cell_with_an_identifier_is_not_read(map_export: Read, kind: str, text: str) -> None:
    export = f"Case,Limb,Op,Note\nA1,L,2021-03-04,\nA2,L,2021-03-05,{text}\n"
    mapped = map_export({"cases.csv": export}, MAPPING)
    found = mapped.findings.filter(rule="S01")
    assert found.select("row", "column", "value", "action").rows() == [(3, "Note", "", "ask")]
    assert text not in everything(mapped)
    assert KINDS[kind].says in found["says"][0]


def test_an_identifier_in_a_mapped_column_stops_the_row_without_its_text(map_export: Read) -> None:
    export = "Case,Limb,Op,Note\n276098106123456,L,2021-03-04,\n"
    mapped = map_export({"cases.csv": export}, MAPPING)
    assert mapped.findings["rule"].sort().to_list() == ["M06", "M06", "S01"]
    assert "276098106123456" not in everything(mapped)


def test_a_column_of_names_is_refused_whole(map_export: Read) -> None:
    export = "Case,Limb,Op,Note,Owner name\nA1,L,2021-03-04,,Quill\n"
    mapping = MAPPING.replace('["Note"]', '["Note", "Owner name"]')
    mapped = map_export({"cases.csv": export}, mapping)
    assert mapped.findings.filter(rule="S02")["column"].to_list() == ["Owner name"]
    assert "Quill" not in everything(mapped)


@pytest.mark.parametrize(
    "header",
    ["Owner", "Besitzer", "Propriétaire", "Dueño", "Telefon", "Téléphone", "E-Mail", "PLZ",
     "Adresse", "Microchip", "Chip-Nr", "N° puce", "Code postal", "Dirección", "owner_name",
     "Straße"],
)  # fmt: skip
def test_headers_that_announce_an_identifier_are_known(header: str) -> None:
    assert header_kind(header) is not None


@pytest.mark.parametrize(
    "header",
    ["Breed", "Direction", "Dirección de la luxación", "Case ID", "N° dossier", "Pat-Nr", "Status",
     "Surgeon", "Chirurgien", "Operateur", "Limb", "Name of procedure"],
)  # fmt: skip
def test_ordinary_headers_are_left_alone(header: str) -> None:
    assert header_kind(header) is None


@pytest.mark.parametrize(
    "text",
    ["15/03/2021", "2021-03-15 00:00:00", "12.03.2020 14.09.2020", "1.03.2020 14.09.2020",
     "2x0,9; 1.4 mm", "2.950,0", "N-0104", "00317", "Kontrolle 6 Wo, dann 12 Wo", "26/52"],
)  # fmt: skip
def test_dates_sizes_and_codes_are_no_identifiers(map_export: Read, text: str) -> None:
    mapped = map_export({"cases.csv": f'Case,Limb,Op,Note\nA1,L,2021-03-04,"{text}"\n'}, MAPPING)
    assert mapped.findings.is_empty()


def test_a_declared_exception_is_narrow(map_export: Read) -> None:
    allowed = MAPPING + EXCEPTION
    export = "Case,Limb,Op,Note\n276098106123456,L,2021-03-04,276098106123456\n"
    mapped = map_export({"cases.csv": export}, allowed)
    assert mapped.tables["animals"]["local_animal"].to_list() == ["276098106123456"]
    assert mapped.findings.select("rule", "column").rows() == [("S01", "Note")]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('kinds = ["transponder"]\n', "", '"kinds" is missing'),
        ('kinds = ["transponder"]', "kinds = []", '"kinds" is missing'),
        ('"transponder"', '"chip"', '"chip" is not known'),
        ("case numbers of our own, fifteen digits", "own numbers", "shorter than 20 letters"),
        ('"Case"', '"Cases"', 'there is no column "Cases"'),
    ],
)
def test_an_exception_needs_its_kinds_a_reason_and_a_column(
    map_export: Read, old: str, new: str, message: str
) -> None:
    with pytest.raises(MappingError, match=message):
        map_export({"cases.csv": "Case,Limb,Op,Note\nA1,L,2021-03-04,\n"},
                   MAPPING + EXCEPTION.replace(old, new))  # fmt: skip


def test_an_exception_is_told_to_the_report(map_export: Read) -> None:
    export = "Case,Limb,Op,Note\n276098106123456,L,2021-03-04,\n"
    mapped = map_export({"cases.csv": export}, MAPPING + EXCEPTION)
    assert mapped.allowed.rows() == [
        ("clinic", "Case", "transponder", "case numbers of our own, fifteen digits")
    ]


def test_screening_leaves_the_account_of_rows_whole(map_export: Read) -> None:
    export = "Case,Limb,Op,Note\nA1,L,2021-03-04,a@example.org\n"
    mapped = map_export({"cases.csv": export}, MAPPING)
    entry = mapped.ledger.select(pl.col("source_rows") == pl.col("mapped"))
    assert entry.to_series().to_list() == [True]
