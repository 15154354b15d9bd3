"""The lists of trade words hold together, and name only what the codebook declares."""

from collections import defaultdict

from pipeline.draft.plain import joined
from pipeline.draft.vocabulary import LANGUAGES, read_vocabulary
from pipeline.intake.mapping import MISSING_REASONS
from schemas.codebook import by_name, read_codebook

VOCABULARY = read_vocabulary()
VARIABLES = by_name(item for item in read_codebook() if item.table != "cohort")
CONCEPTS = {"birth_date", "date", "lameness", "grade", "direction", "kind", "comment", "event",
            "technique"}  # fmt: skip


def test_every_header_phrase_means_a_variable_or_a_concept() -> None:
    meanings = {item.meaning for item in VOCABULARY.columns}
    assert meanings - set(VARIABLES) == CONCEPTS
    assert set(VOCABULARY.concepts.values()) <= set(VARIABLES) | {"technique"}


def test_every_code_is_one_of_the_codebook() -> None:
    for name, phrases in VOCABULARY.codes.items():
        if name.startswith("*") or name == "breed":
            continue
        variable = VARIABLES[name]
        known = {*variable.codes, *(("both",) if name == "side" else ())}
        known |= {f"!{reason}" for reason in MISSING_REASONS}
        assert {item.code for item in phrases} <= known, name


def test_no_phrase_has_two_codes_of_one_variable_in_one_language() -> None:
    for name, phrases in VOCABULARY.codes.items():
        seen: dict[tuple[str, str], set[str]] = defaultdict(set)
        for item in phrases:
            seen[item.language, joined(item.words)].add(item.code)
        twice = {key: codes for key, codes in seen.items() if len(codes) > 1}
        assert not twice, (name, twice)


def test_every_language_has_words_for_the_core_variables() -> None:
    core = {item.name for item in VARIABLES.values() if item.core == "yes"}
    core -= {"clinic_id", "data_lock_date", "patella_grade", "recheck_day", "age_months"}
    for language in LANGUAGES:
        named = {item.meaning for item in VOCABULARY.columns if item.language == language}
        lacking = core - named - set(VOCABULARY.concepts.values())
        assert not lacking, language
