"""What a draft must leave without code, and ask about, instead of guessing."""

from collections import Counter
from pathlib import Path

import pytest

from pipeline.draft.codes import guess_codes
from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.vocabulary import read_vocabulary
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.mapping_file import read_mapping
from schemas.codebook import by_name
from tests.pipeline.draft.drafted import CODEBOOK, settled

VARIABLES = by_name(item for item in CODEBOOK if item.table != "cohort")
DOG = {"Case ID": "A-{n:03}", "Species": "Dog", "Side": "L", "Date of surgery": "1{n}/05/2021",
       "Preop grade": "II"}  # fmt: skip


def drafted(folder: Path, cells: dict[str, tuple[str, str]], **kept: str) -> Draft:
    """Draft an export of eight operations; each further column has two texts in turn."""
    columns = {**{name: (text, text) for name, text in {**DOG, **kept}.items() if text}, **cells}
    rows = [";".join(columns)]
    rows += [";".join(texts[n % 2].format(n=n) for texts in columns.values()) for n in range(1, 9)]
    path = folder / "cases.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return draft_clinic([path], "east", CODEBOOK)


def read(draft: Draft, folder: Path) -> ClinicMapping:
    return read_mapping(settled(draft, folder / "mappings"), CODEBOOK)


def codes_of(mapping: ClinicMapping, variable: str) -> dict[str, str]:
    """Gather every code that the mapping gives to a text of the variable."""
    sources = [item for table in mapping.tables for item in table.columns.get(variable, ())]
    return {text: code for item in sources for text, code in item.codes.items()}


@pytest.mark.parametrize(
    ("headers", "yes", "no", "variable"),
    [
        (("Trochléoplastie en bloc", "Trochléoplastie en V"), "oui", "non", "sulcoplasty_type"),
        (("Block recession", "Wedge recession"), "y", "n", "sulcoplasty_type"),
        (("Blockrezession",), "ja", "nein", "sulcoplasty_type"),
        (("Lateral imbrication", "Capsular imbrication"), "yes", "no", "lateral_imbrication"),
    ],
)  # fmt: skip
def test_a_no_about_one_kind_is_not_a_no_to_all(
    headers: tuple[str, ...], yes: str, no: str, variable: str, tmp_path: Path
) -> None:
    draft = drafted(tmp_path, dict.fromkeys(headers, (yes, no)))
    asked = [item for item in all_doubts(draft) if item.what.endswith(f": {variable}")]
    assert any("may have to be joined" in item.evidence for item in asked)
    assert all(name in item.evidence for item in asked if "joined" in item.evidence
               for name in headers)  # fmt: skip
    assert f'"{yes} | {no}"' in mapping_text(draft, CODEBOOK)
    assert not codes_of(read(draft, tmp_path), variable)


def test_the_only_column_of_a_procedure_keeps_its_no(tmp_path: Path) -> None:
    draft = drafted(tmp_path, {"Medial release": ("yes", "no"), "Imbrication": ("yes", "no")})
    mapping = read(draft, tmp_path)
    assert codes_of(mapping, "medial_release") == {"no": "none"}
    assert codes_of(mapping, "lateral_imbrication") == {"yes": "true", "no": "false"}


@pytest.mark.parametrize(
    ("variable", "text", "code"),
    [
        ("sex_neuter", "weibl. kastr.", "female_neutered"),
        ("sex_neuter", "mâle cast.", "male_neutered"),
        ("sex_neuter", "femelle stér.", "female_neutered"),
        ("sex_neuter", "weibl. trächtig", ""), ("cruciate_status", "pas de rupture partielle", ""),
        ("previous_stifle_surgery", "oui, rotule", "patellar"),
        ("previous_stifle_surgery", "nein, Patella o.b.", ""), ("grade_preop", "postop II", ""),
        ("grade_preop", "MPL II", "2"), ("complication_type", "sérome, réluxation", ""),
    ],
)  # fmt: skip
def test_a_text_has_a_code_only_if_every_word_is_explained(
    variable: str, text: str, code: str
) -> None:
    for language in ("de", "fr"):
        guess = guess_codes(Counter([text]), VARIABLES[variable], read_vocabulary(),
                            language=language)[0]  # fmt: skip
        if guess.code:
            break
    assert guess.code == code


def test_two_events_in_one_cell_are_not_read_as_one_of_them(tmp_path: Path) -> None:
    draft = drafted(tmp_path, {"Complication 1": ("Infection", "Infection, reluxation"),
                               "Complication 1 date": ("20/06/2021", "21/06/2021")})  # fmt: skip
    text = mapping_text(draft, CODEBOOK)
    assert '# { is = "Infection, reluxation"' in text or '# "Infection, reluxation" =' in text


def test_columns_and_texts_that_are_left_keep_the_gate_shut(tmp_path: Path) -> None:
    draft = drafted(tmp_path, {"Zz thing": ("1", "2"), "Yy thing": ("a", "b"),
                               "Sex": ("fs", "zwitter")})  # fmt: skip
    asked = {item.what: item.guess for item in all_doubts(draft)}
    assert '"Zz thing" (8 of 8), "Yy thing" (8 of 8)' in asked["cases.csv: columns not recognised"]
    assert 'sex_neuter: "zwitter" (4)' in asked["stifles of cases: texts without code"]


def test_columns_of_either_side_are_no_side(tmp_path: Path) -> None:
    """Their letters may be those of a side: "I" for intact, "D" for torn."""
    cells = {f"{side} STIFLE {name}": texts for side in "LR"
             for name, texts in {"CCL": ("I", "D"), "Grade": ("II", "III")}.items()}  # fmt: skip
    draft = drafted(tmp_path, cells, Side="", **{"Preop grade": ""})
    told = mapping_text(draft, CODEBOOK)
    assert '# not recognised: "{s} STIFLE CCL"' in told or "cruciate_status = " in told
