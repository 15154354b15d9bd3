"""Words around an identifier in free text, in four languages, as pieces of patterns."""

from importlib.resources import files

from shared.files import declared_rows

TITLE = (
    r"(?:Mr|Mrs|Ms|Miss|Mister|Mme|Mlle|Madame|Monsieur|Frau|Herrn?|Hr|Fr|Fam|Familie|Family|"
    r"Famille|Familia|Sra?|Srta|Se[ñn]ora?|Se[ñn]orita|Do[ñn]a|Don|Dra?|Prof|"
    r"MR|MRS|MME|MLLE|FRAU|HERRN?|SRA?|SRTA|SE[ÑN]ORA?|"
    r"mrs|mme|mlle|madame|monsieur|frau|herrn?|sra|srta|se[ñn]ora?)"
)
OWNER = (
    r"(?i:owners?|clients?|besitzer(?:in|s)?|(?:tier)?halter(?:in|s)?|kund(?:e|in)|"
    r"propri[eé]taire|d[eé]tenteur|d[eé]tentrice|propietari[oa]|due[ñn][oa]|titular)"
    r"(?i:['’]s)?(?i: (?:name|nom|nombre))?"
)
SAYS = r"(?i: ?[:=(,-] ?| +is +| +ist +| +est +| +es +| +named? +| +nom +| +nombre +| +called +| +)"
BORN = (
    r"(?i:\bborn(?: on)?|\bd\.?o\.?b\.?|\bdate of birth|\bbirth ?date|\bgeb(?:oren)?(?: am)?|"
    r"\bgeburtsdatum|\bn[eé]e?(?: le)|\bdate de naissance|\bnaissance|\bnacid[oa](?: el)?|"
    r"\bfecha de nac(?:imiento)?)"
)
PHONE = (
    r"(?:tel(?:efon(?:nummer)?|[eé]fono|ephone)?|t[eé]l(?:[eé]phone)?|tlf|tfno|phone|mobile?|"
    r"m[oó]vil|handy(?:nummer)?|cell|whatsapp|portable|ring|fax)"
)
STREET_AFTER = r"street|road|avenue|boulevard|lane|drive|crescent|terrace"  # 12 Long Street
STREET_JOINED = r"stra(?:ß|ss)e|str\.|gasse|allee"  # Lindenstraße 4
STREET_BEFORE = (  # 14 rue des Lilas, calle Mayor 3
    r"rue|avenue|boulevard|chemin|all[eé]e|impasse|route de|place d[eu]s?|place de la|quai|"
    r"calle|avenida|avda\.?|plaza|paseo|camino|carrer"
)


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
