"""Every kind of identifier, in a header, alone in a cell and inside free text, is refused."""

import sys
from collections.abc import Iterable

import polars as pl
import pytest

from pipeline.intake.mapped import Mapped
from pipeline.intake.screen_findings import RULES
from pipeline.intake.screen_headers import header_kind
from pipeline.intake.screen_patterns import KINDS
from tests.pipeline.intake.screened import MAPPING, Read, everything

# Invented; numbers of telephones lie in ranges kept for fiction where there are such.
CELLS: dict[str, tuple[str, ...]] = {
    "name": ("Mrs Quill", "Frau Brink", "Herrn Brink", "FRAU BRINK", "Mme Durand", "Sra. Vidal",
             "Señor Vidal", "señora Vidal", "Don Arturo", "Miss O'Hara", "Dr. Brink",
             "M. Durand", "Mr and Mrs Quill", "owner Quill", "owner: Jane Quill", "OWNER: QUILL",
             "Owner's name: Quill", "client is Quill", "Besitzer: Brink", "Besitzerin Frau Brink",
             "propriétaire Durand", "dueño Vidal", "propietaria: Vidal", "Fam. Brink",
             "Dhr. Bakker", "Mevr. Bakker", "mevrouw Bakker", "eigenaar Bakker",
             "eigenaresse: Bakker", "klant Bakker", "Sig. Ferri", "Sig.ra Ferri", "Dott.ssa Ferri",
             "proprietario: Ferri", "Senhora Pinto", "proprietária Pinto", "tutor: Pinto"),
    "phone": ("+49 30 1234567", "0049 30 1234567", "0221 4567890", "0171/1234567", "089-123456",
              "555-010-1234", "(555) 010-1234", "01632 960 983", "01632960983", "06 12 34 56 78",
              "06.12.34.56.78", "+33 6 12 34 56 78", "612 345 678", "91 123 45 67",
              "tel. 612345678", "móvil: 612345678", "tél : 0612345678", "Handy 0171 1234567",
              "phone: 5550101", "06-12345678", "+31 6 12345678", "gsm 0470 12 34 56",
             "telefoon 0612345678", "338 1234567", "cellulare 3381234567", "02 12345678",
             "telemóvel 912 345 678", "912345678 telefone 912345678"),
    "email": ("a.b@example.org", "quill(at)example.org", "ö.b@example.de", "ａ.ｂ＠example.org"),
    "address": ("12 Long Street", "12 Oak Close", "Lindenstraße 4", "Lindenstr. 12a",
                "Am Lindenweg 3", "Marktplatz 3", "Südring 12", "Rheinufer 7", "Deichdamm 9a",
                "14 rue des Lilas", "3 bis rue Haute", "calle Mayor 3",
                "C/ Mayor, 3", "Avda. de la Paz, 12", "80331 München", "D-80331 München",
                "SW1A 1AA", "Springfield, IL 62704", "K1A 0B1", "PO Box 12", "Postfach 1234",
                "plz 80331", "code postal : 69001",
                "Kerkstraat 4", "Prinsengracht 12a", "1011 AB Delft", "Via Roma 12",
                "via dei Mille, 3", "Piazza Verdi 5", "rua das Flores 3", "1000-123 Braga",
                "codice postale 00100", "postcode 1011AB"),
    "transponder": ("276098106123456", "276 098 106 123 456", "276.098.106.123.456",
                    "276-098106123456", "276 0981 0612 3456", "2760 9810 6123 456",
                    "27609 81061 23456", "DE276098106123456", "DE 276098106123456",
                    "chip276098106123456", "276098106123456.0", "9.56E+14", "9,56E+14",
                    "2.76098106123456E+14", "2\u200b76098106123456", "chip: 0006123456"),
    "birth_date": ("born 03/02/2019", "DOB: 03/02/2019", "d.o.b. 2019-02-03", "geb. 12.03.2020",
                   "geboren am 3. März 2020", "née le 03/02/2019",
                   "date de naissance: 03/02/2019", "nacido el 03-02-2019",
                   "fecha de nacimiento 3/2/2019", "geboren op 03-02-2019",
                   "geboortedatum 03-02-2019", "nato il 3/2/2019", "data di nascita: 3/2/2019",
                   "nascido em 03/02/2019"),
    "document": ("DE12 3456 7890 1234 5678 90",),
}  # fmt: skip
HEADERS: dict[str, tuple[str, ...]] = {
    "name": ("Owner", "Client name", "ownerName", "Pet name", "Besitzer", "Name des Tieres",
             "Vorname", "Propriétaire", "Nom du chirurgien", "Prénom", "Dueño", "Apellidos",
             "Nombre del propietario", "Eigenaar", "Naam eigenaar", "Achternaam", "Proprietario",
             "Nome del proprietario", "Cognome", "Nome do tutor", "Ägare", "Ejer", "Majitel",
             "Omistaja", "Imię i nazwisko"),
    "phone": ("Phone", "Owner's phone number", "Mobile 2", "Telefon", "Tel.-Nr. Besitzer", "Handy",
              "Téléphone", "Portable", "Teléfono", "Móvil", "Telefoonnummer eigenaar", "Cellulare",
              "Telemóvel", "Puhelin"),
    "email": ("E-Mail", "Email address", "Courriel", "Adresse e-mail", "Correo electrónico",
              "E-mailadres", "Posta elettronica", "E-post", "Sähköposti"),
    "address": ("Address line 1", "Postcode", "ZIP", "Straße", "PLZ", "Wohnort", "Code postal",
                "Rue", "Dirección", "Código postal", "Calle", "Woonplaats",
                "Huisnummer", "Indirizzo", "CAP", "Morada", "Kod pocztowy", "PSČ", "Osoite"),
    "transponder": ("Microchip", "Chip-Nr", "Transpondernummer", "N° puce", "Número de chip",
                    "Chipnummer", "Numero microchip", "Číslo čipu"),
    "birth_date": ("DOB", "D.O.B.", "Date of birth", "Geburtsdatum", "Geb.-Datum",
                   "Date de naissance", "Né(e) le", "Fecha de nacimiento", "F. nac.",
                   "Geboortedatum", "Data di nascita", "Data de nascimento", "Födelsedatum",
                   "Fødselsdato"),
    "document": ("Pet passport", "Tattoo no.", "Heimtierausweis", "Tatouage", "Pasaporte",
                 "Dierenpaspoort", "Passaporto", "Tatuagem"),
}  # fmt: skip
FREE = ("seen today, {}; stable", "Kontrolle gut ({}) bis bald", "revu: {} / RAS")


def export_of(notes: Iterable[str]) -> str:
    rows = [f'A{place},L,2021-03-04,"{note}"\n' for place, note in enumerate(notes, start=1)]
    return "Case,Limb,Op,Note\n" + "".join(rows)


def with_room(texts: Iterable[str]) -> list[str]:
    """Put two ordinary cells after each, so that the column is not one of identifiers."""
    return [cell for text in texts for cell in (text, "NAD", "stabil")]


def refused_cells(mapped: Mapped) -> int:
    return mapped.findings.filter(rule="S01").height


def test_every_kind_is_refused_in_a_header_a_cell_and_free_text(map_export: Read) -> None:
    """Print what was planted and refused, by kind and place."""
    counts: dict[str, dict[str, int]] = {}
    for kind in KINDS:
        alone, inside = with_room(CELLS[kind]), with_room(
            form.format(text) for text in CELLS[kind] for form in FREE if not whole(text)
        )  # fmt: skip
        read = [map_export({"cases.csv": export_of(cells)}, MAPPING) for cells in (alone, inside)]
        headed = map_headed(map_export, HEADERS[kind])
        named = headed.findings.filter(rule="S02")["column"]
        counts[kind] = {
            "header": len(named),
            "cell": refused_cells(read[0]),
            "free text": refused_cells(read[1]),
        }
        assert sorted(named) == sorted(HEADERS[kind])
        assert counts[kind] == {
            "header": len(HEADERS[kind]), "cell": len(alone) // 3, "free text": len(inside) // 3,
        }, kind  # fmt: skip
        said = "".join(everything(item) for item in (*read, headed))
        assert not [text for text in (*CELLS[kind], "Secret-77") if text in said], kind
        assert read[0].findings["says"].str.contains(KINDS[kind].says, literal=True).all()
    total = sum(sum(places.values()) for places in counts.values())
    sys.stdout.write(f"\nrefused, by kind and place ({total} in all):\n")
    for kind, places in counts.items():
        sys.stdout.write(
            f"  {kind}: {', '.join(f'{count} in {place}' for place, count in places.items())}\n"
        )


def whole(text: str) -> bool:
    """Some identifiers are known only where a cell or a line ends with them."""
    return text in (
        "80331 München", "Am Lindenweg 3", "Marktplatz 3", "Südring 12", "Rheinufer 7",
        "Deichdamm 9a",
    )  # fmt: skip


def map_headed(map_export: Read, headers: tuple[str, ...]) -> Mapped:
    quoted = [f'"{header}"' for header in headers]
    rows = [
        "Case,Limb,Op,Note," + ",".join(quoted),
        "A1,L,2021-03-04," + ",Secret-77" * len(headers),
    ]
    export = "\n".join(rows) + "\n"
    ignored = MAPPING.replace('["Note"]', f'["Note", {", ".join(quoted)}]')
    return map_export({"cases.csv": export}, ignored)


ORDINARY = (
    "15/03/2021", "2021-03-15 00:00:00", "2024-06-28T00:00:00", "12.03.2020 14.09.2020",
    "1.03.2020 14.09.2020", "17-may-2016", "Call 28/06/2021", "phone recheck 28/06/2021",
    "A-0104", "00317", "N-0104", "E/0221", "H20008", "A-2021-000123", "12345678", "26/52",
    "2x0,9; 1.4 mm", "2.950,0", "9.670,0", "0.045", "1.25 mm", "10x1.2", "1.6 mm / 0.8 mm",
    "12.5 kg (27.3 lb)", "1 600 mg", "1.5E+3", "180-0-30", "5/9", "II-III", "0/4", "1y 3m",
    "5 a 8 m", "2 3 4 5 6", "01 02 03 04", "1.2 3.4 5.6 7.8 9.1 2.3 4.5", "L3 2MM",
    "Metacam 0.1 mg/kg PO SID 14 d", "cefalexin 25 mg/kg BID 7-10 d", "meloxicam 0,05 mg/kg",
    "10 mg q12h 5 d", "Cavalier King Charles Spaniel", "Jack Russell Terrier", "Fr. Bulldogge",
    "Franz. Bulldogge", "St Bernard mix", "St. Bernard", "Yorkshire Terrier",
    "Blockrezession, TTT, 2 KD + Zuggurtung, Kapselraffung", "2P+TB", "TPLO 2.7 mm plate",
    "surcoplastia en bloque;TTT lateral;agujas", "migracion de aguja, se retira",
    "li: Drahtlockerung, Metallentfernung 14.09.20", "Reluxation Gr. 1", "Grade III",
    "stable per owner", "owner reports occasional skipping", "Owner Reports lameness",
    "Owner declined", "owner No lameness", "Client happy", "client reports Monday",
    "laut Besitzer Lahmheit besser", "Besitzer Anruf: alles gut", "Besitzer Rückmeldung gut",
    "propriétaire satisfait", "el dueño refiere cojera", "M. castré", "M. Stérilisé",
    "M. Quadriceps atrophisch", "Dr A", "Dr. B", "surgeon DR2", "Serom weg 12 Tage",
    "Kontrolle 6 Wo, dann 12 Wo", "rotule en place 3 mois", "14 place normale",
    "2 days close follow-up", "6 weeks on the road", "Fall 00317 Kontrolle", "20 Min. Laufband",
    "paciente de prueba", "No complications", "@6 weeks", "deadbeef" * 8,
    "pins out via stab incision 2", "via medial approach 2", "Lateralised via TTT 2 mm",
    "eigenaar tevreden", "Eigenaar Tevreden", "eigenaar belt: alles goed", "klant Niet bereikbaar",
    "il proprietario riferisce zoppia", "Proprietario Soddisfatto", "tutor Refere claudicação",
    "2021 MPL links", "kreupel 2/5, knieschijf stabiel", "rotula stabile, zoppia 1/5",
)  # fmt: skip
ORDINARY_HEADERS = (
    "Breed", "Case ID", "Pat-Nr", "Patient No", "N° dossier", "Surgeon", "Operateur", "Limb",
    "Name of procedure", "Nom de la technique", "Nombre de broches", "Número de agujas",
    "Phone recheck", "Owner satisfaction", "Owner reported lameness", "Microchip checked",
    "Birth weight", "Geburtsjahr", "Direction", "Dirección de la luxación", "Richtung", "Tel OP",
    "Calle de incisión", "Pin number", "NE", "Línea", "Especie", "Patiëntnummer", "Knieschijf",
    "Lengte van de osteotomie", "Tevredenheid eigenaar", "Numero di fili", "Grado di lussazione",
    "Naam van de techniek", "Op surgeon", "Data da cirurgia", "Capsule",
)  # fmt: skip


def test_ordinary_cells_and_headers_are_left_alone(map_export: Read) -> None:
    """Dates, weights, case numbers, breeds, doses, and sentences that speak of an owner."""
    mapped = map_export({"cases.csv": export_of(ORDINARY)}, MAPPING)
    found = mapped.findings.filter(pl.col("rule").is_in(list(RULES)))
    assert found["row"].map_elements(lambda row: ORDINARY[row - 2], pl.String).to_list() == []
    assert [name for name in ORDINARY_HEADERS if header_kind(name)] == []
    sys.stdout.write(f"\nleft alone: {len(ORDINARY)} cells, {len(ORDINARY_HEADERS)} headers\n")


def test_a_column_with_an_identifier_in_most_cells_is_refused_whole(map_export: Read) -> None:
    """Five such cells and most of them: one question, and what was not recognised goes too."""
    phones = [f"01632 960 {number}" for number in range(101, 107)]
    mapped = map_export({"cases.csv": export_of([*phones, "Secret-77"])}, MAPPING)
    found = mapped.findings.select("rule", "column", "row").rows()
    assert found == [("S03", "Note", None)]
    assert "6 cells" in mapped.findings["says"][0]
    assert "Secret-77" not in everything(mapped)


def test_a_column_called_patient_is_refused_if_its_cells_are_names(map_export: Read) -> None:
    names = ["Bella", "Max", "Luna Bell", "Rocky", "Molly", "Bruno"]
    codes = [f"P{number}" for number in range(6)]
    for cells, rules in ((names, ["S02"]), (codes, [])):
        rows = [f"A{n},L,2021-03-04,,{cell}\n" for n, cell in enumerate(cells)]
        mapped = map_export(
            {"cases.csv": "Case,Limb,Op,Note,Patient\n" + "".join(rows)},
            MAPPING.replace('["Note"]', '["Note", "Patient"]'),
        )
        assert mapped.findings["rule"].to_list() == rules


def test_data_in_the_place_of_a_header_are_not_shown(map_export: Read) -> None:
    """A file without a header: its first row must not become names of columns in messages."""
    export = "Case,Limb,Op,Note,quill@example.org\nA1,L,2021-03-04,,b@example.org\n"
    mapped = map_export({"cases.csv": export}, MAPPING)
    assert "example.org" not in everything(mapped)
    assert mapped.findings.filter(rule="S02")["column"].to_list() == ["(column 5)"]


BIRTHS = MAPPING.replace("[table.columns]\n", "[table.columns]\nage_months = READS\n")
WITH_BIRTHS = (
    "Case,Limb,Op,Note,Geburtsdatum\nA1,L,2021-05-14,,2019-02-03\nA2,L,2021-05-14,,1 Feb 19\n"
)


def test_a_date_of_birth_becomes_an_age_and_is_kept_nowhere(map_export: Read) -> None:
    """3 February 2019 to 14 May 2021 are 831 days or 27.3 months."""
    reads = BIRTHS.replace("READS", '{ column = "Geburtsdatum", as = "birth_date" }')
    mapped = map_export({"cases.csv": WITH_BIRTHS}, reads)
    stifles = mapped.tables["stifles"]
    assert stifles.select("age_months", "raw:age_months").rows() == [
        (27.0, "27"), (None, "(date of birth)"),
    ]  # fmt: skip
    assert mapped.findings.select("rule", "row", "value").rows() == [("M03", 3, "(date of birth)")]
    said = everything(mapped)
    assert "2019" not in said
    assert "1 Feb 19" not in said


@pytest.mark.parametrize("reads", ['{ column = "Geburtsdatum", as = "date" }', '"Geburtsdatum"'])
def test_a_date_of_birth_read_in_another_way_is_refused(map_export: Read, reads: str) -> None:
    mapped = map_export({"cases.csv": WITH_BIRTHS}, BIRTHS.replace("READS", reads))
    found = mapped.findings.filter(rule="S02")
    assert found["column"].to_list() == ["Geburtsdatum"]
    assert "birth_date" in found["fix"][0]
    assert mapped.tables["stifles"]["age_months"].to_list() == [None, None]
    assert "2019" not in everything(mapped)
