"""What one fact of an operation or visit says of another: wires with a band are a tension band."""

from collections.abc import Mapping

from pipeline.draft.vocabulary import Vocabulary, meant

YES_OR_NO: Mapping[str, str] = {"ttt_done": "ttt_done", "radiographs_taken": "radiographs_taken"}
Settings = dict[str, str]


def whole_answer(text: str, meaning: str, vocabulary: Vocabulary, language: str) -> Settings:
    """Read a cell that is only a yes or a no, where the column asks whether a thing was done."""
    name = YES_OR_NO.get(meaning)
    for list_name, code in (("*yes", "true"), ("*no", "false")):
        if name and meant(text, vocabulary.codes[list_name], language):
            return {name: code}
    return {}


def settle(meaning: str, sets: Settings, missing: Settings) -> tuple[Settings, Settings]:
    """Add what follows from what a cell says, by common practice of writing such columns."""
    sets, missing = dict(sets), dict(missing)
    if meaning == "ttt_done":
        _transposition(sets, missing)
    elif meaning == "radiographs_taken":
        _radiographs(sets, missing)
    elif meaning == "ttt_fixation":
        _fixation(sets, missing)
    elif meaning == "technique" and sets.get("tension_band_done") and sets.get("ttt_fixation"):
        sets["ttt_fixation"] = "k_wire_tension_band"
    elif meaning == "patella_grade":
        remote = sets.get("recheck_mode") in ("telephone", "questionnaire")
        if remote and "patella_grade" not in sets:
            missing["patella_grade"] = "not_examined"
    return sets, missing


def _transposition(sets: Settings, missing: Settings) -> None:
    if "ttt_direction" in sets:
        sets.setdefault("ttt_done", "true")
    elif sets.get("ttt_done") == "false":
        missing["ttt_direction"] = "not_applicable"


def _radiographs(sets: Settings, missing: Settings) -> None:
    if "osteotomy_healing" in sets:
        sets.setdefault("radiographs_taken", "true")
    elif sets.get("radiographs_taken") == "false":
        missing["osteotomy_healing"] = "not_examined"


def _fixation(sets: Settings, missing: Settings) -> None:
    if sets.get("ttt_fixation") == "k_wire" and sets.get("tension_band_done") == "true":
        sets["ttt_fixation"] = "k_wire_tension_band"
    elif sets.get("ttt_fixation") == "k_wire_tension_band":
        sets["tension_band_done"] = "true"
    elif sets.get("ttt_fixation"):
        sets["tension_band_done"] = "false"
    if sets.get("ttt_fixation") in ("screw", "plate", "suture"):
        missing["kwire_count"] = "not_applicable"
