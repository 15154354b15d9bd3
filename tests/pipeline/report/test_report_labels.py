"""Words for codes: arms, levels, terms."""

import pytest

from pipeline.report.labels import Labels, listed, make_labels, small
from schemas.codebook import read_codebook


@pytest.fixture(scope="module")
def labels() -> Labels:
    return make_labels(read_codebook())


@pytest.mark.parametrize(
    ("column", "code", "arm", "phrase"),
    [
        ("sulcoplasty_type", "block_recession", "Block recession", "with block recession"),
        ("sulcoplasty_type", "none", "No trochlear sulcoplasty", "without trochlear sulcoplasty"),
        ("tension_band_done", "true", "Tension band", "with tension band"),
        ("tension_band_done", "false", "No tension band", "without tension band"),
        ("kwire_count", "2", "Two K-wires", "with two K-wires"),
        ("kwire_count", "1", "One K-wire", "with one K-wire"),
        ("ttt_fixation", "k_wire", "K-wire", "with K-wire"),
    ],
)
def test_arms_read_as_a_surgeon_says_them(
    labels: Labels, column: str, code: str, arm: str, phrase: str
) -> None:
    assert labels.arm(column, code) == arm
    assert labels.arm_phrase(column, code) == phrase


def test_undeclared_codes_lose_their_underscores(labels: Labels) -> None:
    assert labels.name("made_up_column") == "Made up column"
    assert labels.level("made_up_column", "some_code") == "Some code"


def test_column_names_inside_a_text_become_labels(labels: Labels) -> None:
    assert labels.words("robust errors by local_animal, grade_preop") == (
        "robust errors by animal, grade before surgery"
    )


def test_abbreviations_keep_their_capital() -> None:
    assert (small("K-wire"), small("Block recession")) == ("K-wire", "block recession")


def test_lists_end_in_and() -> None:
    assert (listed([]), listed(["a"]), listed(["a", "b", "c"])) == ("", "a", "a, b and c")


def test_a_complication_that_comes_again_has_words_of_its_own(labels: Labels) -> None:
    assert labels.outcome("stretch_state", "complication_seen") == "Days with a new complication"
    assert labels.outcome("stretch_state", "death") == labels.outcome("relux_state", "death")
    assert labels.words("complication_seen by stretch_state") == (
        "days with a new complication by what ended a stretch of follow-up"
    )
