"""Exports in Dutch and Italian are drafted like the others: columns and codes."""

from pathlib import Path

import pytest

from pipeline.draft.draft import draft_clinic
from pipeline.draft.write_toml import mapping_text
from schemas.codebook import read_codebook
from tests.pipeline.draft.drafted import reads, settled

CODEBOOK = read_codebook()
ROWS = 30
DUTCH = (
    "Dossiernummer;Diersoort;Ras;Geslacht;Datum operatie;Zijde;Gewicht (kg);Graad;Richting luxatie;"
    "Chirurg;Groefverdieping;Trekband;Diameter pin (mm);Laatste contact;Status",
    "D-{n};hond;maltezer;{sex};{day:02}/03/2021;{side};{kg},5;{grade};mediaal;CH{one};{deep};{band};"
    "1,2;{day:02}/09/2021;{end}",
    {"sex": ("teef gesteriliseerd", "reu"), "side": ("links", "rechts"),
     "deep": ("blokrecessie", "wigrecessie"), "band": ("ja", "nee"),
     "end": ("ontslagen", "niet meer gezien")},
)  # fmt: skip
ITALIAN = (
    "Numero paziente;Specie;Razza;Sesso;Data intervento;Arto;Peso (kg);Grado;"
    "Direzione della lussazione;Chirurgo;Solcoplastica;Banda di tensione;Diametro filo (mm);"
    "Ultimo contatto;Esito",
    "P-{n};cane;barboncino toy;{sex};{day:02}/03/2021;{side};{kg},5;{grade};mediale;CH{one};{deep};"
    "{band};1,2;{day:02}/09/2021;{end}",
    {"sex": ("femmina sterilizzata", "maschio"), "side": ("sinistra", "destra"),
     "deep": ("a blocco", "a cuneo"), "band": ("sì", "no"), "end": ("dimesso", "perso")},
)  # fmt: skip
EXPECTED = {
    "local_animal", "species", "breed", "sex_neuter", "surgery_date", "side", "weight_kg",
    "grade_preop", "luxation_direction", "surgeon_id", "sulcoplasty_type", "tension_band_done",
    "kwire_diameter_mm", "end_of_followup_day", "end_status",
}  # fmt: skip


def export(header: str, row: str, words: dict[str, tuple[str, str]]) -> str:
    """Write rows in which every word of the clinic comes."""
    lines = [
        row.format(n=100 + place, day=1 + place % 28, kg=3 + place % 5, one=1 + place % 3,
                   grade=("I", "II", "III", "IV")[place % 4],
                   **{name: pair[place % 2] for name, pair in words.items()})
        for place in range(ROWS)
    ]  # fmt: skip
    return "\n".join([header, *lines]) + "\n"


@pytest.mark.parametrize(("form", "words"), [
    (DUTCH, {'links = "left"', 'wigrecessie = "wedge_recession"', '"niet meer gezien" = "lost"',
             '"teef gesteriliseerd" = "female_neutered"'}),
    (ITALIAN, {'destra = "right"', '"a cuneo" = "wedge_recession"', 'perso = "lost"',
               '"femmina sterilizzata" = "female_neutered"'}),
], ids=["Dutch", "Italian"])  # fmt: skip
def test_a_draft_knows_the_words_of_the_clinic(
    form: tuple[str, str, dict[str, tuple[str, str]]], words: set[str], tmp_path: Path
) -> None:
    path = tmp_path / "exports" / "delta" / "cases.csv"
    path.parent.mkdir(parents=True)
    path.write_text(export(*form), "utf-8")
    draft = draft_clinic([path], "delta", CODEBOOK)
    assert {item[-1] for item in reads(settled(draft, tmp_path))} == EXPECTED
    text = mapping_text(draft, CODEBOOK)
    assert not [word for word in words if word not in text]
