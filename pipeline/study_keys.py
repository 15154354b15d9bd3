"""What each key of study.toml must hold; a value of another kind raises ValueError saying so."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

NOT_STATED = "not stated"
PROCEDURES = ("sulcoplasty", "ttt", "femoral_osteotomy", "soft_tissue")
REVISION_REASONS = (
    "opposite_luxation", "implant_migration", "implant_breakage", "implant_irritation",
    "tuberosity_fracture", "infection", "ligament_rupture", "cruciate_rupture_later", "other",
)  # fmt: skip
Parser = Callable[[object], Any]


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("a text")
    return value.strip()


def _statement(value: object) -> str:
    return _text(value) or NOT_STATED


def _whole(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError("a whole number, 0 or more")
    return value


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError("true or false")
    return value


def _date(value: object) -> date:
    if type(value) is not date:
        raise ValueError("a date without quotes, as 2015-01-31")
    return value


def _one_of(*choices: str | int) -> Parser:
    def parse(value: object) -> str | int:
        if isinstance(value, bool) or value not in choices:
            raise ValueError(f"one of {', '.join(map(str, choices))}")
        return choices[choices.index(value)]

    return parse


def _list_of(parse: Parser) -> Parser:
    def parse_list(value: object) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise ValueError("a list in brackets")
        parsed = tuple(parse(item) for item in value)
        if len(set(parsed)) < len(parsed):
            raise ValueError("a list that names each once")
        return parsed

    return parse_list


def _tables(value: object) -> tuple[Mapping[str, Any], ...]:
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise ValueError("[[…]] blocks, with doubled brackets")
    return tuple(value)


TOP: Mapping[str, Parser] = {
    "title": _text, "question": _statement, "seed": _whole, "codebook_version": _text,
    "analysis": _tables,
}  # fmt: skip
EXCLUSION: Mapping[str, Parser] = {"column": _text, "values": _list_of(_text), "label": _text}
SECTIONS: Mapping[str, Mapping[str, Parser]] = {
    "eligibility": {
        "species": _list_of(_one_of("dog", "cat")),
        "direction": _list_of(_one_of("medial", "lateral", "bidirectional")),
        "grades": _list_of(_one_of(1, 2, 3, 4)),
        "accrual_start": _date,
        "accrual_end": _date,
        "procedures": _list_of(_one_of(*PROCEDURES)),
        "earlier_surgery": _list_of(_one_of("patellar", "cruciate", "fracture", "other")),
        "cruciate_procedure": _one_of("out_of_implant_outcomes", "out", "in"),
        "groove_replacement": _flag,
        "exclude": _tables,
        "recorded": _list_of(_text),
        "set_b_from_day": _whole,
    },
    "outcomes": {
        "horizons": _list_of(_whole),
        "window_days": _whole,
        "death_window_days": _whole,
        "complete_from_day": _whole,
        "changes_construct": _list_of(_one_of(*REVISION_REASONS)),
    },
    "comparison": {"outcomes": _list_of(_text), "case_mix": _list_of(_text)},
    "privacy": {"small_cell": _whole},
    "statements": dict.fromkeys(("ethics", "consent", "agreement", "funding"), _statement),
}
