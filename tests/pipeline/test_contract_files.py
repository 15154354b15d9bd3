"""`sulca contract`: what clinics are sent, made from the codebook and the study's own variables."""

import hashlib
import json
import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fastexcel
import pytest
from selenium.webdriver import Chrome

from pipeline.contract import WORKBOOK, write_contract
from schemas.codebook import CANONICAL_TABLES, of_table, read_codebook
from schemas.dictionary import template
from shared.errors import InputFileError

OWN = (
    "variable,label,type,unit,codes,low,high,usual_low,usual_high,required,required_when,core,"
    "refers_to,role,definition,source\n"
    "notch_mm,<b>Depth</b> of the notch,float,mm,,0,20,1,9,no,,no,,baseline,=1+1,common practice\n"
)


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("contract") / "study"
    (folder / "codebook").mkdir(parents=True)
    (folder / "study.toml").write_text('title = "Knees & <script>hips</script>"\n', "utf-8")
    (folder / "codebook" / "stifles.csv").write_text(OWN, "utf-8")
    write_contract(folder)
    return folder


def part(study: Path, name: str) -> str:
    with zipfile.ZipFile(study / "contract" / WORKBOOK) as book:
        return book.read(name).decode("utf-8")


def sheet_of(study: Path, table: str) -> str:
    return part(study, f"xl/worksheets/sheet{2 + CANONICAL_TABLES.index(table)}.xml")


def test_everything_is_written_and_listed(study: Path) -> None:
    folder = study / "contract"
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert names == {"index.html", "dictionary.html", "datapackage.json", "mask.toml", WORKBOOK} | {
        f"templates/{table}.csv" for table in CANONICAL_TABLES
    }


def test_the_package_points_to_templates_that_are_there(study: Path) -> None:
    folder = study / "contract"
    package = json.loads((folder / "datapackage.json").read_text("utf-8"))
    assert package["title"] == "Knees & <script>hips</script>"
    for item in package["resources"]:
        header = (folder / item["path"]).read_text("utf-8")
        names = [field["name"] for field in item["schema"]["fields"]]
        assert header == ",".join(names) + "\n"
    assert "notch_mm" in (folder / "templates" / "stifles.csv").read_text("utf-8")


def test_templates_are_those_of_a_new_study(study: Path) -> None:
    book = read_codebook(study)
    for table in CANONICAL_TABLES:
        written = (study / "contract" / "templates" / f"{table}.csv").read_text("utf-8")
        assert written == template(book, table)


def test_the_same_study_gives_the_same_bytes(study: Path, tmp_path: Path) -> None:
    again = Path(shutil.copytree(study, tmp_path / "study"))
    shutil.rmtree(again / "contract")
    for path in write_contract(again):
        first = study / path.relative_to(again)
        digests = [hashlib.sha256(item.read_bytes()).hexdigest() for item in (path, first)]
        assert digests[0] == digests[1], path.name


def test_the_workbook_has_a_sheet_per_table_with_its_columns(study: Path) -> None:
    book = fastexcel.read_excel(study / "contract" / WORKBOOK)
    assert book.sheet_names == ["Read me", *CANONICAL_TABLES, "Codes"]
    codebook = read_codebook(study)
    for table in CANONICAL_TABLES:
        header = book.load_sheet(table, header_row=None, dtypes="string").to_polars().row(0)
        assert list(header) == [item.name for item in of_table(codebook, table)]


def test_every_header_has_a_note_and_stays_in_sight(study: Path) -> None:
    for place, table in enumerate(CANONICAL_TABLES, start=1):
        notes = part(study, f"xl/comments{place}.xml")
        assert notes.count("<comment ") == len(of_table(read_codebook(study), table))
        assert 'state="frozen"' in sheet_of(study, table)
    assert "&lt;b&gt;Depth&lt;/b&gt; of the notch (mm)" in part(study, "xl/comments3.xml")


def test_codes_are_lists_and_limits_are_checked(study: Path) -> None:
    rules = dict(
        re.findall(
            r'<dataValidation [^>]*sqref="([A-Z]+)2:\1\d+"[^>]*>(.*?)</dataValidation>',
            sheet_of(study, "stifles"),
        )
    )
    codebook = of_table(read_codebook(study), "stifles")
    checked = [item for item in codebook if item.codes or item.limits]
    assert len(rules) == len(checked)
    assert any("DATE(2000,1,1)" in rule for rule in rules.values())
    messages = re.findall(r'error="([^"]*)"', sheet_of(study, "stifles"))
    assert any("0.8 to 100 kg" in text for text in messages)
    assert len(messages) == len(checked)


def test_the_list_of_a_variable_is_its_codes_and_reasons(study: Path) -> None:
    rows = (
        fastexcel.read_excel(study / "contract" / WORKBOOK)
        .load_sheet("Codes", dtypes="string")
        .to_polars()
    )
    listed = rows.filter(table="rechecks", variable="recheck_mode")["code"].to_list()
    declared = {item.name: item for item in of_table(read_codebook(), "rechecks")}
    assert listed[:5] == list(declared["recheck_mode"].codes)
    assert listed[5:] == ["not_recorded", "not_applicable", "not_examined", "not_yet_due"]
    assert rows.filter(table="stifles", variable="side")["code"].to_list() == ["left", "right"]


def test_no_cell_can_run(study: Path) -> None:
    with zipfile.ZipFile(study / "contract" / WORKBOOK) as book:
        sheets = [name for name in book.namelist() if name.startswith("xl/worksheets/sheet")]
        assert len(sheets) == len(CANONICAL_TABLES) + 2
        assert all(b"<f>" not in book.read(name) for name in sheets)


def test_the_dictionary_holds_every_variable_and_code(study: Path) -> None:
    page = (study / "contract" / "dictionary.html").read_text("utf-8")
    for item in read_codebook(study):
        if item.table in CANONICAL_TABLES:
            assert f'id="{item.table}-{item.name}"' in page
            assert all(f"<code>{code}</code>" in page for code in item.codes)
    assert "&lt;b&gt;Depth&lt;/b&gt; of the notch" in page
    assert "<b>Depth" not in page


@pytest.mark.parametrize("name", ["index.html", "dictionary.html"])
def test_pages_need_nothing_else_and_say_what_never_to_send(study: Path, name: str) -> None:
    page = (study / "contract" / name).read_text("utf-8")
    assert "Never send" in page
    assert "telephone numbers" in page
    assert "&lt;script&gt;" in page
    assert "<script" not in page
    assert not re.search(r'(?:src|href)="https?:', page)


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", ["index.html", "dictionary.html"])
def test_pages_fit_a_telephone_and_a_desk(
    study: Path, open_page: Callable[..., Chrome], name: str, width: int
) -> None:
    open_page(study / "contract" / name, width=width)


def test_a_folder_without_a_study_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError):
        write_contract(tmp_path)


def test_the_command_says_where_to_start(study: Path, call_sulca: Any, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(study, tmp_path / "study"))
    done = call_sulca("contract", str(folder))
    assert done.returncode == 0, done.stderr
    assert "index.html" in done.stdout
