"""What a word announces: "Kontr", "Complications", and titles that stand over several columns."""

from collections.abc import Sequence

from pipeline.draft.plain import Tokens, joined, likeness, tokens
from pipeline.draft.vocabulary import Phrase, read_vocabulary

_LEAST = 3  # letters of a title


def table_of(text: str, language: str, phrases: Sequence[Phrase]) -> str:
    """Name the kind of row a word announces ("Kontr", "Complications"), "" for none."""
    words = tuple(word for word in tokens(text) if not word.isdecimal())
    best: tuple[float, str] = (0.0, "")
    for phrase in phrases:
        score = _announces(words, phrase.words) - (0 if phrase.language == language else 0.1)
        best = max(best, (score, phrase.meaning), key=lambda pair: pair[0])
    return best[1] if best[0] >= 0.5 else ""


def title_table(title: str, language: str) -> str:
    """Name the kind of row whose columns stand under a title; the end is told of operations."""
    if len(joined(tokens(title))) < _LEAST:
        return ""
    found = table_of(title, language, read_vocabulary().tables)
    return "stifles" if found == "follow_up" else found


def name_groups(titles: Sequence[str]) -> bool:
    """Tell whether titles part the columns: two of them name a kind of row, or one that is seen."""
    named = [found for title in titles if (found := title_table(title, ""))]
    return len(titles) > 1 and (len(named) > 1 or bool(set(named) - {"stifles"}))


def _announces(words: Tokens, phrase: Tokens) -> float:
    """Weigh a whole phrase, its beginning ("Kontr", "Compl"), or the phrase inside a name."""
    if joined(words) == joined(phrase):
        return 1.0
    short, long = joined(words), joined(phrase)
    if len(short) >= 2 and long.startswith(short):
        return 0.62 if len(short) >= 3 else 0.5
    return min(likeness(words, phrase), 0.9)
