"""Invented exports, each made for one thing that a draft must see, leave open or not show."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from pipeline.draft.command import draft_mapping
from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.page import map_page
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.mapping_file import read_mapping
from shared.errors import InputFileError, MappingError
from tests.pipeline.draft.drafted import CODEBOOK, reads, settled, without_blocks

HEADER = ("Case ID", "Species", "Limb", "Date of surgery", "MPL grade", "Weight")
ROW: Mapping[str, str] = {
    "Case ID": "A-{n:03}", "Species": "Canine", "Limb": "L", "Date of surgery": "0{m}/05/2021",
    "MPL grade": "II", "Weight": "{n}",
}  # fmt: skip


def export(folder: Path, header: Sequence[str], **cells: str) -> Path:
    """Write nine rows; cells are given by header with _ for a space."""
    named = {name: cells.get(name.replace(" ", "_"), ROW.get(name, "")) for name in header}
    lines = [",".join(header)]
    lines += [
        ",".join(text.format(n=row, m=row % 9 + 1) for text in named.values())
        for row in range(1, 10)
    ]
    path = folder / "cases.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def drafted(path: Path) -> Draft:
    return draft_clinic([path], "east", CODEBOOK)


def asked(draft: Draft) -> str:
    return "\n".join(f"{item.what}: {item.guess}; {item.evidence}" for item in all_doubts(draft))


def test_the_order_of_day_and_month_is_proved_only_by_a_number_above_12(tmp_path: Path) -> None:
    unproved = drafted(export(tmp_path, HEADER))
    assert not unproved.dates[0].proved
    assert "the order is not proved" in asked(unproved)
    proved = drafted(export(tmp_path, HEADER, Date_of_surgery="2{m}/05/2021"))
    assert proved.dates[0].form == "DD/MM/YYYY"
    assert proved.dates[0].proved
    assert "Dates written" not in asked(proved)


def test_a_unit_in_the_header_settles_it_and_its_absence_asks(tmp_path: Path) -> None:
    assert "weight_kg" in asked(drafted(export(tmp_path, HEADER)))
    header = (*HEADER[:-1], "Weight (lb)")
    draft = drafted(export(tmp_path, header, **{"Weight_(lb)": "{n}"}))
    assert "weight_kg" not in asked(draft)
    assert 'weight_kg = { column = "Weight (lb)", unit = "lb" }' in mapping_text(draft, CODEBOOK)


def test_a_unit_in_the_cells_is_read_from_them(tmp_path: Path) -> None:
    text = mapping_text(drafted(export(tmp_path, HEADER, Weight="{n}.5 lbs")), CODEBOOK)
    assert 'weight_kg = { column = "Weight", unit = { lbs = "lb" } }' in text


def test_a_half_grade_takes_the_higher_with_a_note(tmp_path: Path) -> None:
    text = mapping_text(drafted(export(tmp_path, HEADER, MPL_grade="II-III")), CODEBOOK)
    assert 'II-III = { is = 3, note = "Half grade: the higher is taken." }' in text


def test_a_text_nobody_knows_gets_no_code(tmp_path: Path) -> None:
    draft = drafted(export(tmp_path, HEADER, Species="Wombat"))
    text = mapping_text(draft, CODEBOOK)
    assert '# "Wombat" =' in text
    assert "Wombat = " not in text.replace('# "Wombat" =', "")


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("Owner", "Quillfeather{n}"), ("Phone", "0151 2345678{m}"),
        ("Contact", "q{n}@example.org"), ("Microchip", "27609810000000{m}"),
        ("Remarks", "rang 0151 2345678{m} about it"),
    ],
)  # fmt: skip
def test_nothing_of_an_identifying_column_is_shown(column: str, cell: str, tmp_path: Path) -> None:
    draft = drafted(export(tmp_path, (*HEADER, column), **{column: cell}))
    shown = mapping_text(draft, CODEBOOK) + map_page(draft)
    for row in range(1, 10):
        assert cell.format(n=row, m=row % 9 + 1) not in shown
    assert column in shown


def test_a_date_of_birth_gives_the_age_and_is_not_shown(tmp_path: Path) -> None:
    draft = drafted(export(tmp_path, (*HEADER, "DOB"), DOB="1{m}/03/2019"))
    assert 'age_months = { column = "DOB", as = "birth_date" }' in mapping_text(draft, CODEBOOK)
    assert "/03/2019" not in mapping_text(draft, CODEBOOK) + map_page(draft)


def test_free_text_is_named_but_not_shown(tmp_path: Path) -> None:
    draft = drafted(export(tmp_path, (*HEADER, "Comments"), Comments="walked well on day {n}"))
    assert "walked well" not in mapping_text(draft, CODEBOOK) + map_page(draft)
    assert 'ignore = ["Comments"]' in mapping_text(draft, CODEBOOK)


def test_markup_in_an_export_is_text_on_the_page_and_no_toml(tmp_path: Path) -> None:
    markup = '<script>alert(1)</script>"]'
    path = export(tmp_path, HEADER, Species="<b>dog</b>")
    names = ",".join(HEADER)
    path.write_text(path.read_text("utf-8").replace(names, f"{names},{markup}"), "utf-8")
    draft = drafted(path)
    assert "<script>alert" not in map_page(draft)
    assert "<b>dog" not in map_page(draft)
    assert reads(settled(draft, tmp_path / "mappings"))


def test_left_and_right_columns_become_two_blocks(tmp_path: Path) -> None:
    header = ("Case ID", "Species", "Date of surgery left", "MPL grade left",
              "Date of surgery right", "MPL grade right")  # fmt: skip
    date = "1{m}/05/2021"
    draft = drafted(export(tmp_path, header, Date_of_surgery_left=date, MPL_grade_left="II",
                           Date_of_surgery_right=date, MPL_grade_right="III"))  # fmt: skip
    mapping = read_mapping(settled(draft, tmp_path / "mappings"), CODEBOOK)
    blocks = {block.name: dict(block.values) for block in mapping.tables[0].blocks}
    assert blocks == {"left": {"side": "left"}, "right": {"side": "right"}}


def test_groups_above_repeated_names_make_a_header_of_two_rows(tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    rows = [f"A-{n:03},Canine,1{n}/05/2021,II,2{n}/06/2021,III" for n in range(1, 9)]
    path.write_text(
        "\n".join([",,Left,,Right,", "Case ID,Species,Sx date,Grade,Sx date,Grade", *rows]) + "\n"
    )
    text = mapping_text(drafted(path), CODEBOOK)
    assert "header_row = 1" in text
    assert "header_rows = 2\nheader_fill = true" in text
    assert 'surgery_date = "{s} Sx date"' in text


def test_an_english_revision_is_an_operation_and_a_spanish_one_a_visit(tmp_path: Path) -> None:
    """Same letters, another sense: the language of the export decides."""
    made: dict[str, dict[str, str]] = {}
    files = {
        "en": ("Case ID,Event,Date,Limb", ("Surgery", "Revision", "Recheck")),
        "es": ("id_caso,evento,fecha,lado", ("CIRUGIA", "REVISION", "REINTERVENCION")),
    }
    for language, (header, events) in files.items():
        path = tmp_path / f"{language}.csv"
        rows = [f"A{n},{event},2{n}/03/2020,{'L' if language == 'en' else 'izq'}"
                for n in range(1, 9) for event in events]  # fmt: skip
        path.write_text("\n".join([header, *rows]) + "\n")
        tables = drafted(path).sheets[0].tables
        made[language] = {text: table.context for table in tables for text in table.event[1]}
    assert made["en"]["Revision"] == "revisions"
    assert made["es"]["REVISION"] == "rechecks"


def test_a_mapping_that_is_there_is_never_overwritten(tmp_path: Path) -> None:
    path = export(tmp_path, HEADER)
    written = draft_mapping([path], "east", tmp_path / "study").written["mapping"]
    before = written.read_bytes()
    with pytest.raises(InputFileError, match="has a mapping already"):
        draft_mapping([path], "east", tmp_path / "study")
    assert written.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "the file is empty"), (b"a\n1\n", "parts its cells"),
        (b"a,b\n\x00,1\n", "NUL bytes"), (b"1,2\n3,4\n", "column names"),
        (b'Case,Limb\nA,"open\n', "a quote is not closed"),
        (b",".join([b"c"] * 1001) + b"\n", "more than 1000"),
    ],
)  # fmt: skip
def test_what_cannot_be_drafted_is_refused_in_one_sentence(
    content: bytes, what: str, tmp_path: Path
) -> None:
    path = tmp_path / "cases.csv"
    path.write_bytes(content)
    with pytest.raises(InputFileError, match=what):
        drafted(path)


def test_a_draft_without_surgery_date_says_so_before_it_runs(tmp_path: Path) -> None:
    header = ("Case ID", "Species", "Limb", "MPL grade")
    path = export(tmp_path, header)
    draft = drafted(path)
    text = without_blocks(mapping_text(draft, CODEBOOK))
    target = tmp_path / "east.toml"
    target.write_text(text, "utf-8")
    missing = [item.name for item in draft.lacking]
    if any("stifles" in made.make for made in draft.made):
        assert "surgery_date" in missing
        with pytest.raises(MappingError, match="surgery_date"):
            read_mapping(target, CODEBOOK)
    else:
        assert draft.made[0].make == ("animals",)
