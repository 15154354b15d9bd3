"""Refuse direct identifiers: such cells and columns are emptied before anything reads them.

Their text never reaches a finding, a log, a table or an error.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

import polars as pl

from pipeline.intake.mapping import AllowedIdentifier
from pipeline.intake.sheet import ROW, Sheet
from schemas.findings import findings

# Words of headers, English, German, French, Spanish, looked for as whole words.
HEADER_WORDS: Mapping[str, str] = {
    "name": r"names?$|owners?|clients?|surname|family name|last name|first name|pet ?name|"
            r"besitzer(in)?|halter(in)?|nachname|vorname|familienname|rufname|tiername|"
            r"propri[ée]taire|d[ée]tenteur|nom|pr[ée]nom|nom du propri[ée]taire|"
            r"propietari[oa]|due[ñn][oa]|apellidos?|nombre|titular",
    "phone": r"phone|telephone|mobile|cell ?phone|tel|telefon|telefonnummer|handy|mobil|"
             r"t[ée]l[ée]phone|t[ée]l|portable|tel[ée]fono|m[óo]vil",
    "email": r"e ?mail|mail|correo|courriel",
    "address": r"address|street|post ?code|postal code|zip|zip code|town|city|"
               r"adresse|anschrift|stra(ß|ss)e|plz|postleitzahl|wohnort|"
               r"rue|code postal|ville|domicilio|calle|c[óo]digo postal|direcci[óo]n",
    "transponder": r"(micro)?chip( ?(no|nr|number|nummer|id))?|transponder|"
                   r"transpondernummer|chipnummer|puce|n[úu]mero de chip",
}  # fmt: skip
CELL_PATTERNS: Mapping[str, str] = {
    "email": r"[A-Za-z0-9._%+-]+@[A-Za-z0-9.-]+\.[A-Za-z]{2,}",
    "transponder": r"\b(?:[0-9]{15}|[0-9]{3}(?:[ .-][0-9]{3}){4}|[0-9]{3}[ .-][0-9]{12})\b",
    "phone": r"(?:\+|\b00)[1-9][0-9]{0,2}[ ()/.-]*[0-9](?:[ ()/.-]{0,2}[0-9]){6,}"
             r"|(?:^|[^0-9/.-])\(?0[0-9]{2,4}\)?[ /-]{1,3}[0-9](?:[ -]?[0-9]){5,}"
             r"|\(?\b[2-9][0-9]{2}\)?[ .-][0-9]{3}[ .-][0-9]{4}\b",
    "address": r"(?i)\b[0-9]{1,4},? (?:rue|avenue|boulevard|chemin|place) \p{L}"
               r"|\b\p{L}+(?:stra(?:ß|ss)e|str\.|weg|gasse|platz) [0-9]{1,4}\b"
               r"|\b[0-9]{1,4} \p{L}+ (?:street|road|lane|avenue|drive|close)\b"
               r"|\b(?:calle|avenida|plaza|c/) ?\p{L}[\p{L} ]*,? ?[0-9]{1,4}\b",
}  # fmt: skip
KINDS: Mapping[str, str] = {
    "name": "the name of an owner or animal", "phone": "a telephone number",
    "email": "an e-mail address", "address": "a postal address",
    "transponder": "a transponder number",
}  # fmt: skip


def screen(
    sheet: Sheet, clinic_id: str, allowed: Sequence[AllowedIdentifier]
) -> tuple[Sheet, pl.DataFrame]:
    """Empty every cell and column that looks like a direct identifier, and say where.

    Returns
    -------
    tuple of Sheet and pl.DataFrame
        The sheet without them; findings S01 (a cell) and S02 (a column), without their text.
    """
    permitted = {item.column: set(item.kinds or KINDS) for item in allowed}
    rows, found = sheet.rows, [findings()]
    for column in rows.columns:
        if column == ROW:
            continue
        kind = header_kind(column)
        if kind and kind not in permitted.get(column, ()):
            found.append(_column_finding(sheet, clinic_id, column, kind))
            rows = rows.with_columns(pl.lit(None, pl.String).alias(column))
            continue
        for kind, pattern in CELL_PATTERNS.items():
            if kind in permitted.get(column, ()):
                continue
            hit = pl.col(column).str.contains(pattern).fill_null(value=False)
            places = rows.filter(hit)[ROW].to_list()
            if places:
                found.append(_cell_findings(sheet, clinic_id, column, kind=kind, places=places))
                rows = rows.with_columns(pl.when(~hit).then(column).alias(column))
    return replace(sheet, rows=rows), pl.concat(found)


def header_kind(header: str) -> str | None:
    """Name the kind of identifier that a header announces, if any."""
    words = re.sub(r"[_.:/()-]+", " ", header.strip().lower()).strip()
    words = re.sub(r"^(?:n°|no|nr|numéro|número|number) (?:de |of )?", "", words)
    for kind, pattern in HEADER_WORDS.items():
        if re.fullmatch(rf"(?:{pattern})(?: (?:of|du|de la|del|des|name|id)\b.*)?", words):
            return None if "lux" in words else kind
    return None


def _cell_findings(
    sheet: Sheet, clinic_id: str, column: str, *, kind: str, places: Sequence[int]
) -> pl.DataFrame:
    return findings(
        {
            "rule": "S01", "action": "ask", "clinic_id": clinic_id, "file": sheet.file,
            "sheet": sheet.sheet, "row": row, "column": column,
            "says": f'The cell in column "{column}" looks like it holds {KINDS[kind]}; '
                    "it was not read.",
            "fix": "Remove it in your export and send the file again.",
        }
        for row in places
    )  # fmt: skip


def _column_finding(sheet: Sheet, clinic_id: str, column: str, kind: str) -> pl.DataFrame:
    return findings([{
        "rule": "S02", "action": "ask", "clinic_id": clinic_id, "file": sheet.file,
        "sheet": sheet.sheet, "column": column,
        "says": f'The column "{column}" looks like it holds {KINDS[kind]}; it was not read.',
        "fix": "Leave the column out of your export. If it holds something else, the coordinator "
               "can allow it in the mapping under [[not_identifying]].",
    }])  # fmt: skip
