"""What direct identifiers look like inside a cell: patterns by kind, and what to look past first.

Patterns are of Rust's regex, which has neither back-references nor look-around. Formats of
telephone numbers, postcodes and transponders (ISO 11784: 15 digits, the first three a country or
maker) are from memory.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.intake.screen_words import (
    BORN,
    NO_NAMES,
    OWNER,
    PHONE,
    SAYS,
    STREET_AFTER,
    STREET_BEFORE,
    STREET_JOINED,
    STREET_NAMED,
    TITLE,
)

_TIME = r"(?:[ T][0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.0+)?)?)?"
DATE = (
    rf"\b[0-9]{{1,2}}[./-][0-9]{{1,2}}[./-](?:[0-9]{{4}}|[0-9]{{2}})\b{_TIME}"
    rf"|\b(?:1[89]|20)[0-9]{{2}}[./-][0-9]{{1,2}}[./-][0-9]{{1,2}}\b{_TIME}"
)
# Cells that are a number, a date, a case number, a token or short: most of an export, told apart
# quickly. A token of hexadecimal digits after a small letter is one word, and none of the kinds is
# one word that begins so: their numbers stand apart from letters, their words need others than a-f.
_WORDLESS = (
    r"[+-]?[0-9]{1,8}(?:[.,][0-9]{1,6})?|[a-z][0-9a-f]*|[A-Z]{1,2}[-/_ ]?[0-9]{1,8}"
    rf"|(?:[0-9]{{1,2}}[./-][0-9]{{1,2}}[./-][0-9]{{2,4}}|[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}){_TIME}"
)
WORDLESS = rf"^(?:{_WORDLESS})$"  # no word of NOT_SAFE can stand in these
SAFE = rf"^(?:[^@]{{0,5}}|[\p{{Ll}} ,;/+-]*|[A-Z]{{1,5}}[-/_]?[0-9]{{1,8}}|{_WORDLESS})$"
NOT_SAFE = ["tel", "fax", "cell", "zip", "plz", "chip"]  # before a number these make it another
_SEVEN_DIGITS = r"[0-9](?:[^0-9]{0,3}[0-9]){6}"
_GAP = r"[ .,'’-]"
_CHIP = "|".join(
    (
        r"[0-9]{15}",
        rf"[0-9]{{3}}(?:{_GAP}[0-9]{{3}}){{4}}",
        rf"[0-9]{{3}}{_GAP}[0-9]{{12}}",
        rf"[0-9]{{3}}(?:{_GAP}[0-9]{{4}}){{3}}",
        rf"[0-9]{{5}}(?:{_GAP}[0-9]{{5}}){{2}}",
        rf"(?:[0-9]{{4}}{_GAP}){{3}}[0-9]{{3}}",
        rf"[0-9]{{3}}{_GAP}[0-9]{{2}}{_GAP}[0-9]{{10}}",
        rf"[0-9]{{3}}{_GAP}[0-9]{{2}}{_GAP}[0-9]{{2}}{_GAP}[0-9]{{8}}",
    )
)
_NO_WORD = r"(?:^|[^0-9A-Za-z.,])"
_CAPITAL = r"\p{Lu}(?:\p{Ll}|['’]\p{Lu})[\p{L}'’-]*"  # Quill, O'Hara
_NAME = rf"(?:{_CAPITAL}|\p{{Lu}}{{2}}[\p{{Lu}}'’-]+)"  # QUILL
_TOWN = r"\p{Lu}\p{Ll}{2,}(?:[ -][\p{L}.]+){0,3}$"
_MUSCLES = (
    r"\bM\. ?(?:Quadriceps|Sartorius|Vastus|Biceps|Gracilis|Rectus|Tensor|St[eé]r\p{Ll}*"
    r"|Castr\p{Ll}*|Entier)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of identifier.

    Attributes
    ----------
    says
        The kind in words.
    needs
        A quick pattern without which no other can be found.
    cells
        Patterns, any of which is enough, once `past` is taken out of the text.
    past
        What only looks like it: dates among digits, words that are no names.
    whole
        Patterns that are looked for before anything is taken out.
    """

    says: str
    needs: str
    cells: tuple[str, ...]
    past: tuple[str, ...] = ()
    whole: tuple[str, ...] = ()


KINDS: Mapping[str, Kind] = {
    "email": Kind(
        says="an e-mail address",
        needs=r"@|\(at\)|\[at\]",
        cells=(
            r"[\p{L}0-9._%+-]+ ?(?:@|\(at\)|\[at\]) ?[\p{L}0-9-]+"
            r"(?:(?:\.|\(dot\))[\p{L}0-9-]+)*(?:\.|\(dot\))\p{L}{2,}",
        ),
    ),
    "transponder": Kind(
        says="a transponder number",
        needs=rf"{_SEVEN_DIGITS}|[eE]\+?14",
        past=(DATE,),
        cells=(
            rf"{_NO_WORD}(?:[A-Z]{{2,3}}[ -]?)?(?:{_CHIP})(?:[.,]0+)?(?:$|[^0-9A-Za-z])",
            rf"(?i)(?:chip|puce|transpond\p{{L}}*)[^0-9]{{0,12}}(?:{_CHIP}|[0-9]{{9,15}})\b",
            rf"{_NO_WORD}[1-9](?:[.,][0-9]{{1,14}})?[eE]\+?14\b",  # as a spreadsheet shows it
            r"\b[0-9]{3}\*[0-9]{3}\*[0-9]{3}\b",
        ),
    ),
    "phone": Kind(
        says="a telephone number",
        needs=_SEVEN_DIGITS,
        past=(DATE, rf"\b(?:{_CHIP})\b"),
        whole=(
            r"(?:^|[^0-9.-])(?:\+33 ?|0)[1-9]"
            r"(?:(?: [0-9]{2}){4}|(?:\.[0-9]{2}){4}|(?:-[0-9]{2}){4})(?:$|[^0-9])",
        ),
        cells=(
            r"(?:\+|\b00)[1-9][0-9]{0,2}[ ()/.-]*[0-9](?:[ ()/.-]{0,2}[0-9]){6,}",
            r"(?:^|[^0-9/.,-])\(?0[0-9]{2,4}\)?[ /-]{1,3}[0-9](?:[ -]?[0-9]){5,}",
            r"(?:^|[^0-9.,-])\(?[2-9][0-9]{2}\)?[ .-][0-9]{3}[ .-][0-9]{4}\b",
            r"(?:^|[^0-9.,])(?:[6-9][0-9]{2} [0-9]{3} [0-9]{3}|[6-9][0-9]{2}(?: [0-9]{2}){3}"
            r"|9[0-9] [0-9]{3} [0-9]{2} [0-9]{2})(?:$|[^0-9.,])",
            r"(?:^|[^0-9A-Za-z.,/-])0[1-9][0-9]{8,9}(?:$|[^0-9A-Za-z.,])",
            r"(?:^|[^0-9A-Za-z.,/-])0[1-9][ -][0-9]{8}(?:$|[^0-9A-Za-z.,])",  # 06-12345678
            r"(?:^|[^0-9A-Za-z.,/-])3[2-9][0-9][ /-][0-9]{6,7}(?:$|[^0-9A-Za-z.,])",  # 338 1234567
            rf"(?i)\b{PHONE}\b[ .:#°]*(?:no|nr|num|n°)?[ .:]*\(?\+?[0-9]"
            r"(?:[ ()/.-]{0,2}[0-9]){6,}",
        ),
    ),
    "address": Kind(
        says="a postal address",
        needs=(
            rf"(?i:{STREET_AFTER}|{STREET_BEFORE}|{STREET_JOINED}"
            r"|(?:weg|platz|ring|ufer|damm) [0-9]"
            r"|c/|box |postfach|apartado|postale|code|zip|plz|postleit)"
            r"| (?:St|Rd|Ln|Ave|Close|Court|Gardens|Square|Way|Blvd)\b"
            rf"|(?:{STREET_NAMED}) |[0-9]{{4}} ?[A-Z]{{2}},? \p{{Lu}}|[0-9]{{4}}-[0-9]{{3}} "
            r"|[0-9] [0-9][A-Z]{2}|[A-Z] [0-9][0-9A-Z]{2}|-[0-9]{4,5} |(?:^|[,; ])[0-9]{5}(?: |-|$)"
        ),
        past=(NO_NAMES,),
        cells=(
            rf"(?i)\b[0-9]{{1,4}}(?: ?bis| ?ter)?,? (?:{STREET_BEFORE}) \p{{L}}",
            rf"(?i)\b\p{{L}}+(?:{STREET_JOINED}) ?[0-9]{{1,4}} ?[a-z]?\b",
            r"\b\p{L}{3,}(?:weg|platz|ring|ufer|damm) [0-9]{1,4} ?[a-z]?(?:$|[,;])",
            rf"(?i)\b[0-9]{{1,4}}[a-z]?,? (?:\p{{L}}[\p{{L}}'’-]+ ){{1,2}}(?:{STREET_AFTER})\b",
            r"\b[0-9]{1,4}[a-z]?,? (?:\p{Lu}[\p{L}'’-]+ ){1,3}"
            r"(?:St|Rd|Ln|Ave|Close|Court|Gardens|Square|Way|Blvd)\b",
            rf"(?i)(?:\b(?:{STREET_BEFORE})|\bc/) ?\p{{L}}[\p{{L}} ]*,? ?(?:n[º°.]? ?)?"
            r"[0-9]{1,4}$",
            r"(?i)(?:\b(?:calle|avenida|avda\.?|paseo|carrer)|\bc/) ?\p{L}[\p{L} ]*,? ?"
            r"(?:n[º°.]? ?)?[0-9]{1,4}\b",
            rf"\b(?:{STREET_NAMED}) (?:\p{{Ll}}{{2,5}} )?\p{{Lu}}\p{{Ll}}[\p{{L}}'’ ]*,? ?"
            r"(?:n[º°.]? ?)?[0-9]{1,4}\b",
            r"\b[1-9][0-9]{3} ?[A-Z]{2},? \p{Lu}\p{Ll}{2,}",  # Dutch postcode and town
            r"\b[0-9]{4}-[0-9]{3} \p{Lu}\p{Ll}",  # Portuguese postcode and town
            r"(?i)\b(?:p\.? ?o\.? ?box|postfach|apartado(?: de correos)?|bo[iî]te postale)"
            r" [0-9]{1,6}\b",
            r"\b[A-Z]{1,2}[0-9][0-9A-Z]? [0-9][ABD-HJLNP-UW-Z]{2}\b",  # British postcode
            r"\b[ABCEGHJ-NPRSTVXY][0-9][A-Z] [0-9][A-Z][0-9]\b",  # Canadian postcode
            r"\b(?:D|DE|A|AT|CH|F|FR|E|ES|I|L|B)-[0-9]{4,5} \p{Lu}\p{Ll}",
            rf"(?:^|[,;] ?)[0-9]{{5}} {_TOWN}",
            r"\b\p{Lu}\p{Ll}+,? [A-Z]{2} [0-9]{5}(?:-[0-9]{4})?\b",
            r"(?i)\b(?:post ?code|zip(?: code)?|plz|postleitzahl|code postal|c[oó]digo postal"
            r"|codice postale)[ .:]*[0-9A-Z]{4,7}\b",
        ),
    ),
    "birth_date": Kind(
        says="a date of birth",
        needs=r"(?i)born|d\.?o\.?b|birth|geb|n[eé]e? le|naiss|nac|nat[oa] il|nasc",
        cells=(rf"{BORN}[ .:=-]*(?:{DATE}|[0-9]{{1,2}}\.? ?\p{{L}}{{3,}}\.? [0-9]{{4}}\b)",),
    ),
    "name": Kind(
        says="the name of a person or animal",
        needs=rf"(?:^|[^\p{{L}}]){TITLE}|\bM\. |{OWNER}",
        past=(NO_NAMES, _MUSCLES),
        cells=(
            rf"(?:^|[^\p{{L}}]){TITLE}\.? ?(?:et |und |and |y )?(?:{TITLE}\.? )?{_NAME}",
            rf"\bM\. {_CAPITAL}",
            rf"\b{OWNER}{SAYS}{_NAME}",
        ),
    ),
    "document": Kind(
        says="the number of a passport, tattoo, policy or account",
        needs=r"\b[A-Z]{2}[0-9]{2} ",
        cells=(r"\b[A-Z]{2}[0-9]{2}(?: [0-9A-Z]{4}){3,7}(?: [0-9A-Z]{1,4})?\b",),  # an account
    ),
}
