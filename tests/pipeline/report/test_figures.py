"""Figures: the same bytes twice, the same colour for the same treatment."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.report.draw_curves import Arm, at_risk, draw_curves, value_at
from pipeline.report.draw_forest import ForestLine, draw_forest
from pipeline.report.draw_funnel import Limits, Point, draw_funnel
from pipeline.report.figures import (
    data_uri,
    drawing,
    looks_of,
    new_figure,
    save_figure,
    spread,
    svg_of,
)
from shared.estimate import Estimate

POINTS = pl.DataFrame(
    {
        "day": [0.0, 30.0, 91.0, 200.0],
        "estimate": [0.0, 0.02, 0.05, 0.09],
        "low": [None, 0.01, 0.02, 0.05],
        "high": [None, 0.06, 0.1, 0.15],
        "n_at_risk": [100.0, 95.0, 80.0, 40.0],
    }
)


def _arms() -> list[Arm]:
    looks = looks_of([("a", "x"), ("a", "y")])
    return [
        Arm(group=level, label=level.upper(), points=POINTS, look=looks["a", level])
        for level in ("x", "y")
    ]


def test_numbers_at_risk_count_those_followed_to_the_day() -> None:
    assert [at_risk(POINTS, day) for day in (0, 10, 91, 92, 201)] == [100, 95, 80, 40, 0]


def test_a_step_curve_keeps_its_height_until_the_next_event() -> None:
    assert [value_at(POINTS, day) for day in (0, 90, 91, 365)] == [0.0, 0.02, 0.05, 0.09]


def test_files_have_the_same_bytes_twice(tmp_path: Path) -> None:
    for name in ("one", "two"):
        with drawing():
            figure = draw_curves(_arms(), [91, 183], outcome="X")
            save_figure(figure, tmp_path / name, "f", svg=svg_of(figure))
    first = sorted((tmp_path / "one").iterdir())
    assert [path.suffix for path in first] == [".pdf", ".png", ".svg"]
    for path in first:
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


def test_png_has_300_dots_per_inch(tmp_path: Path) -> None:
    with drawing():
        figure = new_figure(2, 1)
        figure.subplots()
        save_figure(figure, tmp_path, "f", svg=svg_of(figure))
    size = (tmp_path / "f.png").read_bytes()[16:24]
    assert (int.from_bytes(size[:4]), int.from_bytes(size[4:])) == (600, 300)


def test_svg_has_no_date_and_no_address_of_a_file(tmp_path: Path) -> None:
    with drawing():
        svg = svg_of(draw_curves(_arms(), [91, 183], outcome="X"))
    assert "dc:date" not in svg
    assert "http" not in data_uri(svg).replace("http://www.w3.org", "")[:200]
    assert '"' not in data_uri(svg)


def test_a_treatment_has_one_look_and_arms_differ() -> None:
    looks = looks_of([("a", "x"), ("a", "y"), ("b", "1"), ("a", "x"), ("b", "2")])
    assert len(looks) == 4
    assert len({look.colour for look in looks.values()}) == 4
    assert looks["a", "x"].dash != looks["a", "y"].dash
    assert looks == looks_of([("a", "x"), ("a", "y"), ("b", "1"), ("b", "2")])


def _grey(colour: str) -> float:
    red, green, blue = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue


def test_the_arms_of_a_contrast_stay_apart_on_a_grey_printer() -> None:
    looks = looks_of([(name, level) for name in "abc" for level in ("x", "y")])
    for name in "abc":
        assert abs(_grey(looks[name, "x"].colour) - _grey(looks[name, "y"].colour)) > 0.15


def test_labels_are_pushed_apart() -> None:
    low, high = spread([5.0, 5.1], 1.0)
    assert high - low == pytest.approx(1.0)


def test_a_ratio_without_a_number_leaves_no_mark() -> None:
    rows = [
        Estimate(analysis="a", measure="odds_ratio", estimate=0.5, low=0.001, high=90.0),
        Estimate(analysis="a", measure="odds_ratio", concerns=("separation",)),
    ]
    with drawing():
        figure = draw_forest([ForestLine("A", row) for row in rows], favours=("less", "more"))
        svg = svg_of(figure)
    assert "not given" in svg  # texts stand in the drawing as comments
    assert "over" not in svg


def test_a_funnel_names_only_what_it_is_given() -> None:
    limits = Limits(0.95, np.array([1.0, 5.0]), np.array([0.0, 0.2]), np.array([3.0, 2.0]))
    points = [Point("Your clinic", 4.0, 1.2, own=True), Point("A", 2.0, 0.5)]
    with drawing():
        svg = svg_of(draw_funnel(points, [limits], outcome="Reluxation"))
    assert "<!-- Your clinic -->" in svg
    assert "<!-- A -->" in svg
