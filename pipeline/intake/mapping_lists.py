"""[[table.list]] of a mapping -> WordList: one cell that says several things."""

import re
from collections.abc import Mapping

from pipeline.intake.mapping import MISSING_REASONS
from pipeline.intake.mapping_words import typed_code, wanted_codes
from pipeline.intake.section import Section, as_text_table, known
from pipeline.intake.sources import Otherwise, Word, WordList
from schemas.codebook import Variable
from shared.errors import MappingError


def read_word_list(part: Section, variables: Mapping[str, Variable]) -> WordList:
    """Read one [[table.list]]: its separators, its words, and what silence means."""
    words = WordList(
        column=part.need("column", str, '"Technique"'),
        separators=part.texts("separators"),
        words=tuple(_word(item, variables) for item in part.sections("words")),
        otherwise=tuple(_otherwise(item, variables) for item in part.sections("otherwise")),
    )
    part.done()
    return words


def _word(part: Section, variables: Mapping[str, Variable]) -> Word:
    texts, pattern = part.texts("is"), part.take("pattern", str, "")
    if bool(texts) == bool(pattern):
        raise MappingError(part.where, 'one of "is" and "pattern" is wanted', do='Add is = ["…"].')
    try:
        groups = re.compile(pattern).groups
    except re.error as error:
        raise MappingError(
            part.where, f'the pattern "{pattern}" is wrong: {error}', do="Mend the pattern."
        ) from None
    word = Word(
        pattern=pattern or "|".join(re.escape(" ".join(text.split())) for text in texts),
        sets=_templates(part.section("sets"), variables),
        missing=_reasons(part.section("missing"), variables),
    )
    part.done()
    named = [int(digit) for code in word.sets.values() for digit in re.findall(r"\$(\d)", code)]
    if max(named, default=0) > groups:
        raise MappingError(
            part.where, f'the pattern "{pattern}" has {groups} groups, ${max(named)} is asked for',
            do="Put what is meant in brackets.",
        )  # fmt: skip
    return word


def _otherwise(part: Section, variables: Mapping[str, Variable]) -> Otherwise:
    rule = Otherwise(
        where=wanted_codes(part.section("where"), variables),
        sets=read_settings(part.section("sets"), variables),
        missing=_reasons(part.section("missing"), variables),
    )
    part.done()
    return rule


def _reasons(part: Section, variables: Mapping[str, Variable]) -> dict[str, str]:
    return {
        known(name, variables, part.where): known(reason, MISSING_REASONS, part.where)
        for name, reason in as_text_table(part.content, part.where).items()
    }


def read_settings(part: Section, variables: Mapping[str, Variable]) -> dict[str, str]:
    """Read { variable = code } with codes of the codebook."""
    return {
        known(name, variables, part.where): typed_code(value, variables[name], part.where)
        for name, value in part.content.items()
    }


def _templates(part: Section, variables: Mapping[str, Variable]) -> dict[str, str]:
    """Read what a word sets: codes of the codebook, or "$1" for its first group."""
    return {
        known(name, variables, part.where): value
        if isinstance(value, str) and "$" in value
        else typed_code(value, variables[name], part.where)
        for name, value in part.content.items()
    }
