"""The flow diagram: as JSON, as text, and drawn as plain SVG."""

import json
import textwrap
from collections.abc import Mapping
from html import escape
from typing import Any

import polars as pl

from pipeline.flow_counts import ALL, add_up

UNITS = ("operations", "animals", "stifles")
SETS: Mapping[str, str] = {
    "set_a": "A, all eligible",
    "set_b": "B, palpated after surgery",
    "set_c": "C, first operated joint",
    "set_d": "D, transpositions held with K-wires",
}
# Drawn for a screen 360 px wide; a letter of 11 px takes about 6 px.
WIDTH, MAIN, SIDE, LINE, PAD = 360, 204, 144, 14, 8
MAIN_LETTERS, SIDE_LETTERS = 28, 22
Step = dict[str, Any]


def flow_json(flow: pl.DataFrame, counts: Mapping[str, int]) -> str:
    """Give the flow and the single counts as JSON text, the same text for the same cohort."""
    add_up(flow)
    content = {"counts": dict(sorted(counts.items())), "steps": flow.to_dicts()}
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def flow_text(flow: pl.DataFrame, counts: Mapping[str, int]) -> str:
    """Draw the flow of the whole study as text, 100 columns at most."""
    add_up(flow)
    lines: list[str] = []
    for step in _totals(flow):
        if step["why"]:
            left = f"  |--> {_left(step)}: {step['why']}"
            lines += textwrap.wrap(left, 100, subsequent_indent="  |      ", drop_whitespace=False)
            lines.append("  v")
        lines += [f"[{step['label']}]", f"  {_counted(step)}"]
    named = [f"  {label}: {_plural(counts[name], 'stifles')}" for name, label in SETS.items()]
    return "\n".join([*lines, "Sets", *named]) + "\n"


def flow_svg(flow: pl.DataFrame) -> str:
    """Draw the flow of the whole study as one SVG element.

    A box per step says what remains; beside the arrow into it stands what left and why, a step
    at which nobody left too. Each number carries the id of its cell of the flow.
    """
    add_up(flow)
    y, parts = PAD, list[str]()
    for step in _totals(flow):
        if step["why"]:
            drawn, height = _side_box(step, y)
            parts += [drawn, _arrow(y, height)]
            y += height + PAD
        drawn, height = _main_box(step, y)
        parts.append(drawn)
        y += height
    title = "Flow of operations, animals and stifles through the steps of the protocol"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="flow" role="img" aria-label="{title}" '
        f'viewBox="0 0 {WIDTH} {y + PAD}" width="100%" style="max-width:{WIDTH * 3 // 2}px" '
        f'font-family="sans-serif" font-size="11"><title>{title}</title>'
        + "".join(parts) + "</svg>\n"
    )  # fmt: skip


def _totals(flow: pl.DataFrame) -> list[Step]:
    return flow.filter(pl.col("clinic_id") == ALL).sort("step").to_dicts()


def _plural(count: int, unit: str) -> str:
    return f"{count} {unit.removesuffix('s') if count == 1 else unit}"


def _counted(step: Step) -> str:
    return ", ".join(_plural(step[unit], unit) for unit in UNITS)


def _left_unit(step: Step) -> str:
    """Later operations leave without their joint; from eligibility on, joints leave."""
    return "operations" if step["name"] in {"revisions", "earlier"} else "stifles"


def _left(step: Step) -> str:
    unit = _left_unit(step)
    return f"{_plural(step[f'left_{unit}'], unit)} left"


def _main_box(step: Step, y: int) -> tuple[str, int]:
    label = [escape(line) for line in textwrap.wrap(step["label"], MAIN_LETTERS)]
    counts = [_number(step, unit) for unit in UNITS]
    lines = [*label, f"{counts[0]}, {counts[1]},", counts[2]]
    return _box(0, y, MAIN, lines, bold=len(label))


def _side_box(step: Step, y: int) -> tuple[str, int]:
    unit = f"left_{_left_unit(step)}"
    why = [escape(line) for line in textwrap.wrap(step["why"], SIDE_LETTERS)]
    return _box(WIDTH - SIDE, y + PAD // 2, SIDE, [f"{_number(step, unit)} left:", *why], bold=0)


def _number(step: Step, column: str) -> str:
    unit = column.removeprefix("left_")
    count, *word = _plural(step[column], unit).split(" ")
    return f'<tspan data-row="flow/{step["step"]}/all/{column}">{count}</tspan> {" ".join(word)}'


def _box(x: int, y: int, width: int, lines: list[str], *, bold: int) -> tuple[str, int]:
    """Draw a box with lines of text, the first `bold` of them bold; give it and its height."""
    height = LINE * len(lines) + PAD
    texts = "".join(
        f'<text x="{x + 6}" y="{y + LINE * place}"'
        + (' font-weight="bold"' if place <= bold else "")
        + f">{line}</text>"
        for place, line in enumerate(lines, start=1)
    )
    frame = (f'<rect x="{x + 0.5}" y="{y + 0.5}" width="{width - 1}" height="{height - 1}" '
             'fill="none" stroke="currentColor"/>')  # fmt: skip
    return f'<g fill="currentColor">{frame}{texts}</g>', height


def _arrow(y: int, height: int) -> str:
    """Draw the way down to the next box and the way out to the side box."""
    x, end, middle = MAIN // 2, y + height + PAD, y + PAD // 2 + height // 2
    return (
        f'<path d="M{x} {y}V{end}m-4 -6l4 6l4 -6M{x} {middle}H{WIDTH - SIDE}m-6 -4l6 4l-6 4" '
        'fill="none" stroke="currentColor"/>'
    )
