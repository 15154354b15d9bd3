"""The switches of the protocol that can be moved on the page, and how their values are read."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from pipeline.study import Study
from shared.errors import PlanError

Values = dict[str, dict[str, Any]]  # section -> key -> value as TOML holds it
CODES = {"1": "I", "2": "II", "3": "III", "4": "IV", "ttt": "tuberosity transposition"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """One key of study.toml and how it is shown.

    Attributes
    ----------
    kind
        some (several of `choices`), grades (the same, as numbers), one (of `choices`), flag,
        day (a whole number), days (several), date.
    """

    section: str
    key: str
    label: str
    kind: str
    choices: tuple[str, ...] = ()
    help: str = ""

    @property
    def name(self) -> str:
        """Name the switch on the page."""
        return f"{self.section}.{self.key}"

    def choice_label(self, choice: str) -> str:
        """Say a choice in words."""
        return CODES.get(choice, choice.replace("_", " "))


ELIGIBILITY = (
    ("species", "Species", "some", ("dog", "cat"), "Never pool without a term for species."),
    ("direction", "Direction of the luxation", "some", ("medial", "lateral", "bidirectional"), ""),
    ("grades", "Grade before surgery", "grades", ("1", "2", "3", "4"), ""),
    ("accrual_start", "First day of surgery", "date", (), "Blank: each clinic's own window."),
    ("accrual_end", "Last day of surgery", "date", (), ""),
    ("procedures", "At least one of these was done", "some",
     ("sulcoplasty", "ttt", "femoral_osteotomy", "soft_tissue"), ""),
    ("earlier_surgery", "Earlier surgery of the joint that is out", "some",
     ("patellar", "cruciate", "fracture", "other"), ""),
    ("cruciate_procedure", "Concurrent cruciate operation with implants", "one",
     ("out_of_implant_outcomes", "out", "in"), ""),
    ("groove_replacement", "Groove replacements are in", "flag", (), ""),
    ("set_b_from_day", "Set B: palpated on this day or later", "day", (), ""),
)  # fmt: skip
OUTCOMES = (
    ("horizons", "Days by which outcomes are read", "days", (), "Separated by commas."),
    ("window_days", "Seen free so many days before counts as free by the day", "day", (), ""),
    ("death_window_days", "A death competes so many days after the last palpation", "day", (), ""),
    ("complete_from_day", "Follow-up is complete if palpated on this day or later", "day", (), ""),
)  # fmt: skip
SWITCHES: tuple[Switch, ...] = tuple(
    Switch(section=section, key=key, label=label, kind=kind, choices=choices, help=told)
    for section, listed in (("eligibility", ELIGIBILITY), ("outcomes", OUTCOMES))
    for key, label, kind, choices, told in listed
)


def values_of(study: Study) -> Values:
    """Give the value of every switch as the study has it, defaults included."""
    sections = {"eligibility": asdict(study.eligibility), "outcomes": asdict(study.outcomes)}
    found: Values = {"eligibility": {}, "outcomes": {}}
    for switch in SWITCHES:
        value = sections[switch.section][switch.key]
        found[switch.section][switch.key] = list(value) if isinstance(value, tuple) else value
    return found


def read_values(sent: Mapping[str, object]) -> Values:
    """Read what the page sends: the name of every switch with text, a list of texts or a flag.

    Raises
    ------
    PlanError
        If a switch is missing or its value is of another kind.
    """
    found: Values = {"eligibility": {}, "outcomes": {}}
    for switch in SWITCHES:
        try:
            found[switch.section][switch.key] = _read(switch, sent[switch.name])
        except (KeyError, TypeError, ValueError):
            raise PlanError(
                f"the switch {switch.label}", "it cannot be read",
                do="Write whole numbers of days, or dates as 2015-01-31.",
            ) from None  # fmt: skip
    return found


def changed(before: Values, after: Values) -> Values:
    """Give the switches whose values differ; a date that was taken out is None."""
    return {
        section: {key: value for key, value in keys.items() if value != before[section][key]}
        for section, keys in after.items()
    }


def _read(switch: Switch, sent: object) -> object:
    if switch.kind == "flag":
        if not isinstance(sent, bool):
            raise TypeError
        return sent
    if switch.kind in {"some", "grades"}:
        if not isinstance(sent, list):
            raise TypeError
        chosen = [choice for choice in switch.choices if choice in sent]
        return [int(item) for item in chosen] if switch.kind == "grades" else chosen
    text = str(sent).strip()
    if switch.kind == "date":
        return date.fromisoformat(text) if text else None
    if switch.kind == "days":
        return [int(part) for part in text.replace(";", ",").split(",") if part.strip()]
    return int(text) if switch.kind == "day" else text
