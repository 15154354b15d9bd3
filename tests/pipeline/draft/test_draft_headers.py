"""Headers as clinics shorten them, in each language."""

import pytest

from pipeline.draft.codes import missing_reason
from pipeline.draft.columns import header_meanings


@pytest.mark.parametrize(
    ("language", "header", "meaning"),
    [
        ("en", "Prev sx this stifle", "previous_stifle_surgery"), ("en", "KW dia (mm)",
        "kwire_diameter_mm"), ("en", "Seen on", "recheck_day"), ("en", "Noticed", "detected_day"),
        ("en", "Found how", "detected_by"), ("en", "Done", "treatment"),
        ("en", "Last heard of", "end_of_followup_day"), ("en", "Fate", "end_status"),
        ("en", "Lame pre", "lameness_preop"), ("en", "Onset (wks)", "signs_duration_days"),
        ("en", "Skin-skin (min)", "surgery_minutes"), ("en", "Re-op on", "revision_day"),
        ("en", "Gr", "grade"), ("de", "Gesehen am", "recheck_day"),
        ("de", "Bemerkt am", "detected_day"), ("fr", "Vu le", "recheck_day"),
        ("fr", "Découvert le", "detected_day"), ("es", "Visto el", "recheck_day"),
        ("es", "Encontrada el", "detected_day"), ("nl", "Datum ingreep", "surgery_date"),
        ("nl", "Diameter pin (mm)", "kwire_diameter_mm"), ("nl", "Gezien op", "recheck_day"),
        ("nl", "Graad luxatie", "grade_preop"), ("it", "Data dell'intervento", "surgery_date"),
        ("it", "Numero di fili", "kwire_count"), ("it", "Visto da", "recheck_mode"),
        ("it", "Ultimo contatto", "end_of_followup_day"),
    ],
)  # fmt: skip
def test_a_shortened_header_means_its_variable(language: str, header: str, meaning: str) -> None:
    scores = header_meanings(header, language)
    assert max(scores, key=lambda name: scores[name][0]) == meaning
    assert scores[meaning][0] >= 0.6


def test_a_word_of_two_letters_counts_in_its_own_language_alone() -> None:
    assert "surgery_date" in header_meanings("Op", "de")
    assert "surgery_date" not in header_meanings("Op", "en")


@pytest.mark.parametrize("text", ["n/k", "NK", "not known", "unk"])
def test_not_known_is_a_missing_value(text: str) -> None:
    assert missing_reason(text, "en") == "not_recorded"
