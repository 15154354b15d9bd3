"""Words without case, accents and marks, so that a header and a list of words can meet."""

import re
import unicodedata
from functools import lru_cache

Tokens = tuple[str, ...]


@lru_cache(maxsize=1 << 16)
def tokens(text: str) -> Tokens:
    """Part a text into plain words and numbers: "Côté_op2" -> ("cote", "op", "2")."""
    apart = re.sub(r"(?<=[a-zß-ÿ])(?=[A-Z][a-z])", " ", text)
    apart = re.sub(r"(?<=[IVX\d])°", " ", apart).replace("°", "o")
    flat = unicodedata.normalize("NFKD", apart.casefold())
    letters = "".join(mark for mark in flat if not unicodedata.combining(mark))
    return tuple(re.findall(r"[^\W\d_]+|\d+|[?+]", letters)) or tuple(letters.split())


@lru_cache(maxsize=1 << 16)
def joined(words: Tokens) -> str:
    """Write the words as one, umlauts spelled out or not being the same."""
    return re.sub(r"(?<=[aou])e", "", "".join(words))


def same(one: Tokens, other: Tokens) -> bool:
    """Tell whether two texts are the same but for case, accents, marks and spaces."""
    return joined(one) == joined(other)


def likeness(header: Tokens, phrase: Tokens) -> float:
    """Say how well a header says a phrase of the trade, 0 to 1.

    1 the same; above 0.55 the phrase stands in it in one piece; 0.8 every word abbreviated
    ("prof tibia"); above 0.5 its words in another order; above 0.45 part of a compound word.
    """
    if not header or not phrase or same(header, phrase):
        return float(bool(header and phrase))
    share = min(len("".join(phrase)) / len("".join(header)), 1)
    width = len(phrase)
    if any(header[at : at + width] == phrase for at in range(len(header) - width + 1)):
        return 0.55 + 0.4 * share
    if len(header) == width and all(map(_abbreviates, header, phrase)):
        return 0.8
    if set(phrase) <= set(header):
        return 0.5 + 0.35 * share
    compound = width == 1 and len(phrase[0]) >= 5 and any(phrase[0] in word for word in header)
    return 0.45 + 0.3 * share if compound else 0.0


def _abbreviates(short: str, word: str) -> bool:
    return short == word or (len(short) >= 3 and word.startswith(short))
