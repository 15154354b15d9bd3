"""Words around an identifier in free text, in seven languages, as pieces of patterns."""

from importlib.resources import files

from shared.files import declared_rows

TITLE = (
    r"(?:Mr|Mrs|Ms|Miss|Mister|Mme|Mlle|Madame|Monsieur|Frau|Herrn?|Hr|Fr|Fam|Familie|Family|"
    r"Famille|Familia|Sra?|Srta|Se[ñn]ora?|Se[ñn]orita|Do[ñn]a|Don|Dra?|Prof|"
    r"Dhr|Mevr?|Mevrouw|Meneer|Sig|Sig\.ra|Sig\.na|Signora?|Dott|Dott\.ssa|Senhora?|Dona|"
    r"MR|MRS|MME|MLLE|FRAU|HERRN?|SRA?|SRTA|SE[ÑN]ORA?|DHR|MEVR|SIGNORA?|"
    r"mrs|mme|mlle|madame|monsieur|frau|herrn?|sra|srta|se[ñn]ora?|dhr|mevr|mevrouw|signora?)"
)
OWNER = (
    r"(?i:owners?|clients?|besitzer(?:in|s)?|(?:tier)?halter(?:in|s)?|kund(?:e|in)|"
    r"propri[eé]taire|d[eé]tenteur|d[eé]tentrice|propietari[oa]|due[ñn][oa]|titular|"
    r"eigenaa?r(?:es(?:se)?)?|klant|propriet[aá]ri[oa]|padron[ae]|tutora?|dono)"
    r"(?i:['’]s)?(?i: (?:name|nom|nombre|naam|nome))?"
)
SAYS = (
    r"(?i: ?[:=(,-] ?| +is +| +ist +| +est +| +es +| +named? +| +nom +| +nombre +| +naam +|"
    r" +nome +| +called +| +)"
)
BORN = (
    r"(?i:\bborn(?: on)?|\bd\.?o\.?b\.?|\bdate of birth|\bbirth ?date|\bgeb(?:oren)?(?: am| op)?|"
    r"\bgeburtsdatum|\bn[eé]e?(?: le)|\bdate de naissance|\bnaissance|\bnacid[oa](?: el)?|"
    r"\bfecha de nac(?:imiento)?|\bgeboortedatum|\bnat[oa](?: il)|\bdata di nascita|"
    r"\bnascid[oa](?: (?:em|a))?|\bdata de nascimento)"
)
PHONE = (
    r"(?:tel(?:efon(?:nummer)?|efoon(?:nummer)?|[eé]fono|efone|ephone|em[oó]vel)?|gsm|mobiel|"
    r"cellulare|celular|t[eé]l(?:[eé]phone)?|tlf|tfno|phone|mobile?|"
    r"m[oó]vil|handy(?:nummer)?|cell|whatsapp|portable|ring|fax)"
)
STREET_AFTER = r"street|road|avenue|boulevard|lane|drive|crescent|terrace"  # 12 Long Street
STREET_JOINED = r"stra(?:ß|ss)e|str\.|gasse|allee|straat|laan|gracht|plein"  # Lindenstraße 4
STREET_BEFORE = (  # 14 rue des Lilas, calle Mayor 3
    r"rue|avenue|boulevard|chemin|all[eé]e|impasse|route de|place d[eu]s?|place de la|quai|"
    r"calle|avenida|avda\.?|plaza|paseo|camino|carrer"
)

# Via Roma 12, rua das Flores 3; "via" before a small letter is a way in: "via lateral approach 2"
STREET_NAMED = r"[Vv]ia|[Vv]iale|[Pp]iazza|[Cc]orso|[Vv]icolo|[Rr]ua|[Tt]ravessa|[Pp]raça"


def _no_names() -> str:
    """Give the words that follow an owner or a title without being a name; * is any letters."""
    rows = declared_rows(files("shared") / "screening" / "no_names.csv")
    words = [word for row in rows for word in row["words"].split("|")]
    parts = [
        word.replace("*", r"\p{Lu}\p{Ll}*" if word.startswith("*") else r"\p{Ll}*")
        for word in words
    ]
    return rf"\b(?:{'|'.join(parts)})\b"


NO_NAMES = _no_names()
