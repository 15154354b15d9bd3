"""Numbers, dates and durations as clinics write them, and what the mapping makes of them."""

from datetime import date

import pytest

from tests.pipeline.intake.one_export import GAUGE, RECHECKS, TABLE, TOP, Read, export, read_column


@pytest.mark.parametrize(
    ("cell", "days", "window"),
    [("6 wk", 42, 4), ("6wk.", 42, 4), ("2 mo", 61, 15), ("1 y", 365, 183), ("15 d", 15, None),
     ("J15", 15, None), ("S6", 42, 4), ("1 y 2 wk", 379, 4)],
)  # fmt: skip
def test_a_planned_time_has_half_a_step_of_its_unit_as_window(
    map_export: Read, cell: str, days: int, window: int | None
) -> None:
    """Months of 30.4375 days, weeks of 7: half a step is 15 and 4 days, rounded up from a half."""
    durations = (
        '[durations]\nweeks = ["wk", "S"]\nmonths = ["mo"]\nyears = ["y"]\ndays = ["d", "J"]\n'
    )
    day = 'recheck_day = { column = "X", as = "duration", nominal_days = "half_step" }\n'
    mapped = map_export(export("X", cell), durations + TOP + TABLE + RECHECKS + day)
    assert mapped.tables["rechecks"]["recheck_day"].to_list() == [days]
    marks = mapped.marks.filter(mark="nominal", variable="recheck_day")["window_days"].to_list()
    assert marks == ([] if window is None else [window])


def test_a_column_of_weeks_has_half_a_week(map_export: Read) -> None:
    day = 'recheck_day = { column = "X", unit = "weeks", nominal_days = "half_step" }\n'
    mapped = map_export(export("X", "6"), TOP + TABLE + RECHECKS + day)
    assert mapped.marks.filter(mark="nominal")["window_days"].to_list() == [4]


@pytest.mark.parametrize(
    ("cell", "months"),
    [("3y 2m", 38), ("3 y, 2 m", 38), ("3y2m", 38), ("18 m", 18), ("26 w", 26 * 7 / 30.4375),
     ("3y 2y", None), ("3", None), ("3-4 y", None), ("3y 2x", None)],
)  # fmt: skip
def test_ages_in_several_units_are_added_and_others_asked(
    map_export: Read, cell: str, months: float | None
) -> None:
    words = '[durations]\nyears = ["y"]\nmonths = ["m"]\nweeks = ["w"]\n'
    mapped, ages = read_column(
        map_export, "age_months", '{ column = "X", as = "duration" }', cell, top=words
    )
    assert ages == [None if months is None else pytest.approx(months)]
    assert (mapped.findings.filter(rule="M04").height == 1) == (months is None)


@pytest.mark.parametrize(
    ("form", "cell", "months"),
    [("MM/YYYY", "05/2018", 34), ("MM/YYYY", "5/2018", 34), ("MM.YY", "03.21", 0),
     ("MMM YYYY", "mai 2018", 34), ("MM/YYYY", "13/2018", None), ("MM/YYYY", "07/05/2018", None)],
)  # fmt: skip
def test_a_birth_known_by_month_counts_from_the_middle_of_it(
    map_export: Read, form: str, cell: str, months: int | None
) -> None:
    """Operated on 4 March 2021: 1024 days after 15 May 2018 are 33.6 months."""
    reads = f'{{ column = "X", as = "birth_date", format = "{form}" }}'
    words = "[dates]\nmonths = { mai = 5 }\n"
    mapped, ages = read_column(map_export, "age_months", reads, cell, top=words)
    assert ages == [months]
    assert (mapped.findings.filter(rule="M03").height == 1) == (months is None)


@pytest.mark.parametrize(
    ("cell", "kilograms"),
    [("9 lb 6 oz", 9.375 * 0.45359237), ("9lb6oz", 9.375 * 0.45359237), ("2.950 g", 2.95),
     ("4,2 kg", 4.2), ("4,2", None), ("9 lb 6 lb", None), ("9 stone", None)],
)  # fmt: skip
def test_weights_with_their_unit_in_the_cell(
    map_export: Read, cell: str, kilograms: float | None
) -> None:
    """A pound is 0.45359237 kg and 16 ounces, exact by definition."""
    numbers = '[numbers]\ndecimal = ","\ngroup = "."\n'
    units = '{ column = "X", unit = { lb = "lb", oz = "oz", g = "g", kg = "kg" } }'
    _, weights = read_column(map_export, "weight_kg", units, cell, top=numbers)
    assert weights == [None if kilograms is None else pytest.approx(kilograms)]


@pytest.mark.parametrize(
    ("cell", "mm"),
    [("20", 0.8), ("22", 0.64), ("24", None), ("20 ga", None)],
)
def test_gauges_are_read_by_the_clinics_own_table(
    map_export: Read, cell: str, mm: float | None
) -> None:
    _, sizes = read_column(
        map_export, "tb_wire_diameter_mm", '{ column = "X", unit = "gauge" }', cell, top=GAUGE
    )
    assert sizes == [mm]


@pytest.mark.parametrize(
    ("cell", "mm"),
    [("20 ga", 0.8), ("22GA", 0.64), ("0.8 mm", 0.8), ("0.04 in", 1.016), ("20", None)],
)
def test_gauge_millimetre_and_inch_may_stand_in_one_column(
    map_export: Read, cell: str, mm: float | None
) -> None:
    units = '{ column = "X", unit = { ga = "gauge", mm = "mm", in = "inch" } }'
    _, sizes = read_column(map_export, "tb_wire_diameter_mm", units, cell, top=GAUGE)
    assert sizes == [None if mm is None else pytest.approx(mm)]


@pytest.mark.parametrize(
    ("form", "cell"),
    [("DD MMM YYYY", "4 März 2021"), ("DD. MMM YY", "04. März 21"),
     ("DD/MM/YYYY hh:mm", "4/3/2021 09:30"), ("YYYYMMDD", "20210304"), ("MM/DD/YY", "3/4/21"),
     ("DD-MMM-YYYY", "04-août-2021"),
     ("MMM DD, YYYY", "MÄRZ 4, 2021"), ("YYYY-MM-DDThh:mm:ss", "2021-03-04T00:00:00")],
)  # fmt: skip
def test_dates_are_read_in_the_declared_form_only(map_export: Read, form: str, cell: str) -> None:
    top = '[dates]\nmonths = { "märz" = 3, "août" = 8 }\n'
    files = {"cases.csv": f"Case;Limb;Op\nA1;L;{cell}\nA2;L;03.04.21x\n"}
    table = TABLE.replace(
        'surgery_date = "Op"', f'surgery_date = {{ column = "Op", format = "{form}" }}'
    )
    mapped = map_export(files, top + TOP + table)
    month = 8 if "août" in cell else 3
    assert mapped.tables["stifles"]["surgery_date"].to_list() == [date(2021, month, 4), None]
    assert mapped.findings.filter(rule="M03").select("row", "action").rows() == [(3, "stop")]
