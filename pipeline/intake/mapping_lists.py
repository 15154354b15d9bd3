"""[[table.list]] of a mapping -> WordList: one cell that says several things."""

import re
from collections.abc import Mapping

from pipeline.intake.mapping import MISSING_REASONS, Otherwise, Word, WordList
from pipeline.intake.mapping_words import canonical_code, checked_pattern, wanted_codes
from pipeline.intake.section import Section, as_text_table, known
from schemas.codebook import Variable
from shared.errors import MappingError


def read_word_list(part: Section, variables: Mapping[str, Variable]) -> WordList:
    words = WordList(
        column=part.need("column", str, '"Technique"'),
        separators=part.texts("separators"),
        words=tuple(_word(item, variables) for item in part.sections("words")),
        otherwise=tuple(_otherwise(item, variables) for item in part.sections("otherwise")),
    )
    part.done()
    return words


def _word(part: Section, variables: Mapping[str, Variable]) -> Word:
    texts, pattern = part.texts("is"), checked_pattern(part.take("pattern", str, ""), part.where)
    if bool(texts) == bool(pattern):
        raise MappingError(part.where, 'one of "is" and "pattern" is wanted', do='Add is = ["…"].')
    sets, missing = part.section("sets"), part.section("missing")
    word = Word(
        pattern=pattern or "|".join(re.escape(text.strip()) for text in texts),
        sets=read_settings(sets, variables),
        missing={known(name, variables, missing.where): known(reason, MISSING_REASONS, part.where)
                 for name, reason in as_text_table(missing.content, missing.where).items()},
    )  # fmt: skip
    part.done()
    return word


def _otherwise(part: Section, variables: Mapping[str, Variable]) -> Otherwise:
    rule = Otherwise(
        where=wanted_codes(part.section("where"), variables),
        sets=read_settings(part.section("sets"), variables),
    )
    part.done()
    return rule


def read_settings(part: Section, variables: Mapping[str, Variable]) -> dict[str, str]:
    return {
        known(name, variables, part.where): canonical_code(
            value, variables[name], f"{part.where}, {name}"
        )
        for name, value in part.content.items()
    }
