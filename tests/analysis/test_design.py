"""Model matrices: what becomes of numbers, levels, splines and missing values."""

from importlib.resources import files

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.design import Terms, build_design, complete_rows, level_text, set_level
from analysis.spline import knots_at_quantiles, restricted_cubic_basis
from tests.analysis.r_values import r_values

WEIGHTS = pl.read_csv(str(files("shared") / "published" / "birthwt.csv"))


@pytest.fixture
def stifles() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "grade": [2, 3, 4, 3, None, 2],
            "clinic": ["north", "lake", "lake", "north", "north", "valley"],
            "band": [True, False, True, None, True, False],
            "weight_kg": [4.0, 8.0, 12.0, 6.0, 7.0, 5.0],
            "day": [10, 20, None, 40, 50, 60],
        }
    )


def test_levels_stand_against_the_reference(stifles: pl.DataFrame) -> None:
    design = build_design(stifles, Terms(columns=("clinic",), categorical={"clinic": "north"}))
    assert design.names == ("clinic=lake", "clinic=valley")
    assert {column.reference for column in design.columns} == {"north"}
    assert design.matrix.T.tolist() == [[0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]


def test_most_frequent_level_is_the_reference_and_ties_go_by_name(stifles: pl.DataFrame) -> None:
    terms = Terms(columns=("clinic",), categorical={"clinic": "most_frequent"})
    assert build_design(stifles, terms).columns[0].reference == "north"
    tied = stifles.filter(pl.col("weight_kg") != 7.0)
    assert build_design(tied, terms).columns[0].reference == "lake"


def test_booleans_and_whole_numbers_become_levels_as_text(stifles: pl.DataFrame) -> None:
    terms = Terms(columns=("band", "grade"), categorical={"grade": "2"})
    design = build_design(stifles, terms)
    assert [(c.term, c.level, c.reference) for c in design.columns] == [
        ("band", "true", "false"), ("grade", "3", "2"), ("grade", "4", "2"),
    ]  # fmt: skip
    assert level_text(pl.Series([1.0, 2.0, None])).to_list() == ["1", "2", None]


def test_rows_without_a_value_are_counted_under_the_first_variable(stifles: pl.DataFrame) -> None:
    terms = Terms(columns=("grade", "band"), categorical={})
    design = build_design(stifles, terms, also=("day",))
    assert design.kept.tolist() == [True, True, False, False, False, True]
    assert design.dropped == {"day": 1, "grade": 1, "band": 1}


def test_a_unit_divides_the_column(stifles: pl.DataFrame) -> None:
    design = build_design(stifles, Terms(columns=("weight_kg",), per={"weight_kg": 4}))
    assert design.columns[0].unit == "per 4"
    assert design.matrix[:, 0].tolist() == [1.0, 2.0, 3.0, 1.5, 1.75, 1.25]


def test_everybody_at_one_level(stifles: pl.DataFrame) -> None:
    terms = Terms(columns=("clinic", "weight_kg"), categorical={"clinic": "north"})
    design = build_design(stifles, terms)
    assert set_level(design, "clinic", "lake")[:, :2].tolist() == [[1, 0]] * 6
    assert set_level(design, "clinic", "north")[:, :2].tolist() == [[0, 0]] * 6
    assert (set_level(design, "clinic", "lake")[:, 2] == design.matrix[:, 2]).all()
    with pytest.raises(ValueError, match="clinic has no level harbour in this model"):
        set_level(design, "clinic", "harbour")


@pytest.mark.parametrize(
    ("terms", "message"),
    [
        (Terms(columns=("breed",)), "column breed is not in the table"),
        (Terms(columns=("clinic",)), "clinic is String; name its reference level in categorical"),
        (Terms(columns=("clinic",), categorical={"clinic": "harbour"}),
         "clinic has no row with the reference level harbour"),
        (Terms(columns=("clinic",), categorical={"clinic": "north"},
               levels={"clinic": ("north", "lake")}),
         "clinic holds the level valley, which is not allowed"),
        (Terms(columns=("clinic",), categorical={"clinic": "north"},
               levels={"clinic": ("north", "lake", "valley", "plateau")}),
         "clinic has no row with the level plateau"),
        (Terms(columns=("weight_kg",), spline={"weight_kg": 8}),
         "spline of weight_kg: 3 to 7 knots, got 8"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(stifles: pl.DataFrame, terms: Terms, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        build_design(stifles, terms)


def test_one_level_and_infinite_values_are_refused() -> None:
    one = pl.DataFrame({"clinic": ["north", "north"], "weight_kg": [1.0, np.inf]})
    with pytest.raises(ValueError, match="clinic has one level only: north"):
        build_design(one, Terms(columns=("clinic",), categorical={"clinic": "north"}))
    with pytest.raises(ValueError, match="weight_kg must be finite"):
        build_design(one, Terms(columns=("weight_kg",)))
    with pytest.raises(ValueError, match="no row has all of day"):
        build_design(one.with_columns(day=None), Terms(columns=()), also=("day",))


def test_spline_knots_and_basis_agree_with_r() -> None:
    """R 4.2.2: quantile(lwt, c(.05, .35, .65, .95)), Hmisc::rcspline.eval(x, knots); R only."""
    lwt = WEIGHTS["lwt"].cast(pl.Float64).to_numpy()
    right = r_values("published_models")
    knots = [right["birthwt", f"knot {place}"] for place in (1, 2, 3, 4)]
    assert knots_at_quantiles(lwt, 4).tolist() == pytest.approx(knots, rel=1e-12)
    basis = restricted_cubic_basis(np.array([100.0, 120, 150, 200]), np.array([95.0, 121, 187]))
    expected = [0.0147684310018904, 1.8460538752363, 15.6401479349258, 55.6739130434783]
    assert basis[:, 1].tolist() == pytest.approx(expected, rel=1e-12)


def test_spline_terms_share_their_name() -> None:
    design = build_design(WEIGHTS, Terms(columns=("lwt", "age"), spline={"lwt": 4}))
    assert design.names == ("lwt", "lwt'", "lwt''", "age")
    assert design.places("lwt") == [0, 1, 2]


@given(
    st.lists(st.floats(-50, 50), min_size=3, max_size=7, unique=True),
    st.floats(0.5, 30), st.floats(0.5, 30),
)  # fmt: skip
def test_spline_is_straight_beyond_its_outer_knots(
    places: list[float], near: float, far: float
) -> None:
    knots = np.sort(np.array(places))
    if (np.diff(knots) < 0.01).any():
        return
    beyond = knots[-1] + np.array([0.0, near, near + far])
    basis = restricted_cubic_basis(beyond, knots)
    slopes = np.diff(basis, axis=0) / np.diff(beyond)[:, None]
    assert slopes[0] == pytest.approx(slopes[1], rel=1e-4, abs=1e-4)
    assert restricted_cubic_basis(knots[:1] - near, knots)[0, 1:].tolist() == [0.0] * (
        len(knots) - 2
    )


def test_no_missing_row_is_lost_in_the_count() -> None:
    frame = pl.DataFrame({"a": [1, None, None, 4], "b": [None, None, 3, 4]})
    kept, dropped = complete_rows(frame, ("b", "a"))
    assert kept.tolist() == [False, False, False, True]
    assert sum(dropped.values()) == 3
    assert dropped == {"b": 2, "a": 1}
