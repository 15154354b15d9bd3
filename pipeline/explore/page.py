"""The page of the explorer: switches on one side, what they leave on the other."""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, cast

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pipeline.explore.preview import Preview
from pipeline.explore.switches import SWITCHES
from pipeline.report.blocks import CAUTION, page_style
from pipeline.study import Study


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberLine:
    """One number of the table: as saved, now, and whether it moved."""

    label: str
    saved: str
    now: str

    @property
    def moved(self) -> bool:
        """Whether the switches change it."""
        return self.saved != self.now


def explore_page(
    study: Study, values: Mapping[str, Mapping[str, Any]], result: str, *, late: str
) -> str:
    """Write the whole page; `late` says that a first analysis was made, or is blank."""
    shown = [(switch, _text(values[switch.section][switch.key])) for switch in SWITCHES]
    return _templates().get_template("explore.html.j2").render(
        title=study.title, style=page_style() + _part("explore.css"), script=_part("explore.js"),
        caution=CAUTION, switches=shown, exclusions=study.eligibility.exclude,
        recorded=study.eligibility.recorded, late=late,
        result=Markup(result), chosen=_chosen,
    )  # fmt: skip


def result_part(
    saved: Preview | None, now: Preview | None, *, difference: str, message: str
) -> str:
    """Write what the switches leave, beside what the saved protocol leaves."""
    lines = number_lines(saved, now) if now else []
    return _templates().get_template("result.html.j2").render(
        lines=lines, moved=sum(line.moved for line in lines), message=message,
        flow=Markup(now.flow) if now else "", difference=difference, failed=now is None,
    )  # fmt: skip


def number_lines(saved: Preview | None, now: Preview) -> list[NumberLine]:
    """Set the numbers of both protocols side by side; a number one lacks is a dash."""
    before = saved.numbers if saved else {}
    return [
        NumberLine(label=label, saved=before.get(label, "-"), now=now.numbers.get(label, "-"))
        for label in dict.fromkeys([*now.numbers, *before])
    ]


def _chosen(choice: str, value: object) -> bool:
    return choice in cast("list[str]", value) if isinstance(value, list) else choice == value


def _text(value: object) -> bool | str | list[str]:
    """Give a value as a form holds it."""
    if isinstance(value, bool):
        return value
    if isinstance(value, list):
        return [str(item) for item in cast("list[object]", value)]
    return "" if value is None else str(value)


def _part(name: str) -> Markup:
    return Markup((files("pipeline.explore") / "templates" / name).read_text("utf-8"))


def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("pipeline.explore", "templates"), autoescape=True,
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
