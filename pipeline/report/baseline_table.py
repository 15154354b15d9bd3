"""Table 1: who was in each arm before surgery, and how far the arms lie apart."""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from pipeline.report.labels import Labels, small
from pipeline.report.rows import distinct, number, of
from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell, Line, Table
from pipeline.report.text import count_of, estimate_text, fixed, whole
from shared.estimate import Estimate

ALL = "all"
SIZES = {"stifles": "Stifles", "animals": "Animals", "clinics": "Clinics"}
ByArm = Mapping[str, Sequence[Estimate]]


def baseline_table(
    rows: Sequence[Estimate], exposure: str, labels: Labels, *, role: str | None
) -> Table | None:
    """Describe the arms of an exposure by the variables of one role (None: of all other roles).

    Counts with their share per 100 known, medians with quartiles, what is missing on its own
    line, and the standardised difference of each arm from the reference.
    """
    own = of(rows, analysis=f"table1_{exposure}")
    differences = of(own, "standardised_difference")
    arms = [group for group in distinct(row.group for row in own) if group != ALL]
    groups = [ALL, *arms]
    columns = distinct(row.term for row in own if row.term not in SIZES)
    wanted = [name for name in columns if _has_role(name, role, labels)]
    if not wanted:
        return None
    lines = _size_lines(own, groups, len(arms) - 1) if role else []
    for name in wanted:
        here = [row for row in own if row.term == name]
        lines += _variable_lines(here, groups, [row for row in differences if row.term == name],
                                 labels)  # fmt: skip
    titles = ("All", *(labels.arm(exposure, arm) for arm in arms))
    apart = tuple(
        f"Standardised difference, {small(titles[place])}" for place in range(2, len(titles))
    )
    return Table(
        id=f"table1-{exposure}-{role or 'other'}".replace("_", "-"),
        caption=_caption(exposure, labels, role),
        columns=("Characteristic", *titles, *apart), lines=tuple(lines),
        notes=("Counts with their share per 100 of those recorded; medians with lower and upper "
               "quartile. A standardised difference beyond 0.1 is usually taken as a sign that "
               "arms differ.",),
    )  # fmt: skip


def baseline_differences(
    rows: Sequence[Estimate], exposure: str, labels: Labels
) -> list[tuple[str, Estimate]]:
    """Name the baseline variables with the standardised difference of the last arm."""
    own = of(rows, "standardised_difference", analysis=f"table1_{exposure}")
    last = distinct(row.group for row in own)[-1:]
    return [
        (labels.name(row.term or ""), row)
        for row in own
        if row.group in last
        and row.estimate is not None
        and _has_role(row.term, "baseline", labels)
    ]


def _has_role(name: str | None, role: str | None, labels: Labels) -> bool:
    known = labels.variables.get(name or "")
    baseline = known is not None and (known.role == "baseline" or name == "surgery_year")
    return baseline if role == "baseline" else not baseline


def _caption(exposure: str, labels: Labels, role: str | None) -> str:
    what = "before surgery" if role else "at surgery"
    return f"{labels.name(exposure)}: the arms {what}"


def _size_lines(own: Sequence[Estimate], groups: Sequence[str], apart: int) -> list[Line]:
    found = {(row.term, row.group): row for row in of(own, "count") if row.level is None}
    return [
        Line(
            title,
            (
                *(_whole_cell(found.get((term, group))) for group in groups),
                *([EMPTY] * max(apart, 0)),
            ),
        )
        for term, title in SIZES.items()
    ]


def _variable_lines(
    rows: Sequence[Estimate], groups: Sequence[str], differences: Sequence[Estimate],
    labels: Labels,
) -> list[Line]:  # fmt: skip
    name = rows[0].term or ""
    by_arm = {group: [row for row in rows if row.group == group and row.measure !=
                      "standardised_difference"] for group in groups}  # fmt: skip
    apart = tuple(
        Cell(estimate_text(row), row.row_id, concerns=concern_texts(row)) for row in differences
    )
    per = " (animals)" if rows[0].state == "animals" else ""
    title = labels.name_with_unit(name) + per
    if of(rows, "median"):
        kind = labels.variables[name].kind if name in labels.variables else ""
        cells = tuple(_quartile_cell(by_arm[group], is_whole=kind == "int") for group in groups)
        return [Line(title, (*cells, *apart)), *_missing_lines(by_arm, groups, len(apart))]
    levels = distinct(row.level for row in of(rows, "proportion"))
    if set(levels) <= {"true", "false"}:
        cells = tuple(_level_cell(by_arm[group], "true") for group in groups)
        return [Line(title, (*cells, *apart)), *_missing_lines(by_arm, groups, len(apart))]
    blank = (EMPTY,) * len(apart)
    lines = [Line(title, (*([EMPTY] * len(groups)), *apart))]
    for level in levels:
        cells = tuple(_level_cell(by_arm[group], level) for group in groups)
        lines.append(Line(labels.level(name, level), (*cells, *blank), indented=True))
    return [*lines, *_missing_lines(by_arm, groups, len(apart))]


def _missing_lines(by_arm: ByArm, groups: Sequence[str], apart: int) -> list[Line]:
    found = {
        group: next((row for row in of(by_arm[group], "count") if row.level == "missing"), None)
        for group in groups
    }
    if not any(row and row.estimate != 0 for row in found.values()):
        return []
    cells = tuple(_whole_cell(found[group]) for group in groups)
    return [Line("Not recorded", (*cells, *([EMPTY] * apart)), indented=True)]


def _level_cell(rows: Sequence[Estimate], level: str) -> Cell:
    row = next((row for row in of(rows, "proportion") if row.level == level), None)
    if row is None:
        return Cell("0", rows[0].row_id) if rows else EMPTY
    if row.estimate is None:
        return Cell(count_of(row), row.row_id)
    share = fixed(100 * row.estimate, 0)
    return Cell(f"{whole(row.events or 0)} ({share})", row.row_id)


def _quartile_cell(rows: Sequence[Estimate], *, is_whole: bool) -> Cell:
    middle = next(iter(of(rows, "median")), None)
    if middle is None or middle.estimate is None:
        return EMPTY
    limits = [row for row in of(rows, "quartile") if row.estimate is not None]
    values = [row.estimate or 0.0 for row in (middle, *limits)]
    size = abs(middle.estimate)
    digits = 0 if size >= 100 or (is_whole and all(value.is_integer() for value in values)) else 1
    digits = 2 if size < 1 and digits else digits
    shown = [number(_value(row, digits), row.row_id) for row in limits]
    text = Markup("{} ({})").format(_value(middle, digits), Markup(" to ").join(shown))
    return Cell(text if shown else _value(middle, digits), middle.row_id)


def _value(row: Estimate, digits: int) -> str:
    text = fixed(row.estimate or 0.0, digits)
    return text.replace(",", "") if row.term == "surgery_year" else text


def _whole_cell(row: Estimate | None) -> Cell:
    return EMPTY if row is None else Cell(count_of(row), row.row_id)
