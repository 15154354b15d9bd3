"""Visits side by side in one row, under every style of header: blocks, or nothing at all."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.mapping_file import read_mapping
from schemas.codebook import by_name
from tests.pipeline.draft.drafted import CODEBOOK, reads, settled

ROMAN, WORDS = ("I", "II", "III"), ("Erste", "Zweite", "Dritte")
NTH, PLANNED = ("1st", "2nd", "3rd"), ("2 Wo", "6 Wo", "1 J")
STYLES: dict[str, Callable[[int, str], str]] = {
    "before": lambda n, what: f"{n}. Kontrolle {what}",
    "within": lambda n, what: f"{what} {n}. Kontrolle",
    "after": lambda n, what: f"Kontrolle {what} {n}",
    "short": lambda n, what: f"Ktr.{n}: {what}",
    "letter": lambda n, what: f"K{n}_{what}",
    "brackets": lambda n, what: f"Kontrolle ({n}) {what}",
    "roman": lambda n, what: f"Kontrolle {ROMAN[n - 1]} {what}",
    "word": lambda n, what: f"{WORDS[n - 1]} Kontrolle {what}",
    "ordinal": lambda n, what: f"{NTH[n - 1]} check: {what}",
    "planned": lambda n, what: f"NK {PLANNED[n - 1]} {what}",
    "first only in figures": lambda n, what: f"Kontrolle {n} {what}",
}
WITHOUT_RULE: dict[str, Callable[[int, str], str]] = {
    "two styles": lambda n, what: (f"{n}. Kontrolle {what}", f"Kontrolle {n} {what}")[n % 2],
    "three words": lambda n, what: f"{('Kontr.', 'Nachkontrolle', 'NK')[n - 1]} {n} {what}",
    "no word": lambda n, what: f"{what} {n}",
    "one name": lambda n, what: f"Kontrolle {what}",
}
VISIT = ("Datum", "Patella", "Lahmheit (0-5)")
PREOP = {item for item in by_name(CODEBOOK) if item.endswith("_preop")}


def drafted(folder: Path, headers: list[str], cells: list[str]) -> Draft:
    """Draft an export of nine operations with more columns."""
    head = [
        "Fall ID",
        "Tierart",
        "Seite",
        "OP-Datum",
        "Grad präop",
        "Lahmheit präop",
        "Blockrezession",
    ]
    lines = [";".join([*head, *headers])]
    for row in range(1, 10):
        case = [f"A-{row}", "Hund", "li", f"1{row}.05.2021", "II", "2", "ja"]
        lines.append(";".join([*case, *cells]))
    path = folder / "Kontrollen.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return draft_clinic([path], "east", CODEBOOK)


def visits(folder: Path, style: Callable[[int, str], str]) -> Draft:
    headers = [style(n, what) for n in (1, 2, 3) for what in VISIT]
    cells = [text for n in (1, 2, 3) for text in (f"1{n}.08.2021", "stabil", str(n - 1))]
    return drafted(folder, headers, cells)


@pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
def test_each_visit_is_a_block_of_its_own(style: Callable[[int, str], str], tmp_path: Path) -> None:
    path = settled(visits(tmp_path, style), tmp_path / "mappings")
    found = {(header, name) for _, header, _, name in reads(path)}
    variables = ("recheck_day", "patella_grade", "lameness_score")
    for n in (1, 2, 3):
        for what, name in zip(VISIT, variables, strict=True):
            assert (style(n, what), name) in found
    table = next(item for item in read_mapping(path, CODEBOOK).tables if "rechecks" in item.tables)
    assert len(table.blocks) == 3


@pytest.mark.parametrize("style", WITHOUT_RULE.values(), ids=WITHOUT_RULE)
def test_visits_without_a_rule_are_left_out_and_asked_about(
    style: Callable[[int, str], str], tmp_path: Path
) -> None:
    draft = visits(tmp_path, style)
    own = {style(n, what) for n in (1, 2, 3) for what in VISIT}
    assert not {header for _, header, _, _ in reads(settled(draft, tmp_path / "mappings"))} & own
    asked = " ".join(item.guess for item in all_doubts(draft) if "columns" in item.what)
    if style(1, "Datum") == style(2, "Datum"):  # the draft numbers them
        own |= {f"{name} ({n})" for name in own for n in (2, 3)}
    unknown = {column.header for item in draft.sheets[0].unknown for column in item.columns}
    assert own <= unknown
    assert all(item.template.replace('"', "") in asked for item in draft.sheets[0].unknown)


@pytest.mark.parametrize("style", [*STYLES.values(), *WITHOUT_RULE.values()])
def test_nothing_of_a_visit_is_a_finding_before_surgery(
    style: Callable[[int, str], str], tmp_path: Path
) -> None:
    found = reads(settled(visits(tmp_path, style), tmp_path / "mappings"))
    before = {header for _, header, _, name in found if name in PREOP}
    assert before <= {"Grad präop", "Lahmheit präop"}


def test_a_date_of_surgery_outweighs_the_name_of_the_file(tmp_path: Path) -> None:
    draft = drafted(tmp_path, [], [])
    assert draft.made[0].table.context == "stifles"
    assert draft.made[0].table.why == "it has a date of surgery"


def test_visits_that_name_the_date_of_surgery_too_are_rechecks(tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    rows = [f"A-{n};li;1{n}.05.2021;1{n}.08.2021;stabil;1" for n in range(1, 10)]
    head = "Fall ID;Seite;OP-Datum;Kontrolldatum;Patella;Lahmheit Kontrolle"
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    draft = draft_clinic([path], "east", CODEBOOK)
    assert draft.made[0].table.context == "rechecks"
    assert 'recheck_day = { column = "Kontrolldatum", as = "date" }' in mapping_text(
        draft, CODEBOOK
    )


@pytest.mark.parametrize("numbers", [(1, 2), (1, 2, 3)])
def test_two_spellings_of_one_block_are_joined_if_their_numbers_agree(
    numbers: tuple[int, ...], tmp_path: Path
) -> None:
    kinds = [f"Komplikation {n}" for n in (1, 2)]
    days = [f"Kompl. {n} festgestellt am" for n in numbers]
    draft = drafted(tmp_path, [*kinds, *days], [*(["Serom"] * 2), *(["20.06.2021"] * len(numbers))])
    found = {name: header for _, header, _, name in reads(settled(draft, tmp_path / "mappings"))}
    notes = [item.evidence for item in all_doubts(draft) if "repeated columns" in item.what]
    assert found["complication_type"].startswith("Komplikation")
    if numbers == (1, 2):
        assert found["detected_day"].startswith("Kompl.")
        assert "their numbers agree" in notes[0]
    else:
        assert "detected_day" not in found
        assert "numbers 1, 2, 3" in notes[0]
