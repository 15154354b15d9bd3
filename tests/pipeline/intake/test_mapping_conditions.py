"""What a value says beside another one, and which words win over words for missing values."""

from pipeline.intake.mapped import Mapped, numbered
from tests.pipeline.intake.one_export import TABLE, TOP, Files, Read, export

MAPPING = f'[missing]\nnot_applicable = ["n.a."]\nnot_recorded = ["NR"]\n{TOP}{TABLE}'
WIRE = """
kwire_count = "Pins"
tension_band_done = { column = "Band", codes = { y = true, n = false }, only_if = { kwire_count = [2] } }
tb_wire_diameter_mm = { column = "Wire", only_if = { tension_band_done = true } }
tb_pattern = { value = "figure_of_eight", only_if = { tension_band_done = true } }
"""  # noqa: E501


def _values(mapped: Mapped, variable: str) -> list[tuple[object, str | None]]:
    reasons = dict(mapped.missing.filter(variable=variable).select("row_no", "reason").rows())
    rows = numbered(mapped.tables["procedures"]).select("row_no", variable).rows()
    return [(value, reasons.get(row)) for row, value in rows]


def _export(*rows: str) -> Files:
    return export("Pins;Band;Wire", *(row.replace(",", ";") for row in rows))


def test_only_if_follows_the_other_value(map_export: Read) -> None:
    mapped = map_export(_export("2,y,0.8", "2,n,0.8", "2,n.a.,0.8", "2,,0.8"), MAPPING + WIRE)
    off = (None, "not_applicable")
    assert _values(mapped, "tb_wire_diameter_mm") == [(0.8, None), off, off, (0.8, None)]
    assert _values(mapped, "tb_pattern") == [
        ("figure_of_eight", None), off, off, (None, "not_recorded"),
    ]  # fmt: skip


def test_only_if_follows_what_the_other_follows(map_export: Read) -> None:
    mapped = map_export(_export("1,y,0.8"), MAPPING + WIRE)
    assert _values(mapped, "tension_band_done") == [(None, "not_applicable")]
    assert _values(mapped, "tb_wire_diameter_mm") == [(None, "not_applicable")]


def test_a_constant_is_not_set_beside_a_word_that_is_not_understood(map_export: Read) -> None:
    mapped = map_export(_export("2,?,0.8"), MAPPING + WIRE)
    assert _values(mapped, "tb_pattern") == [(None, "not_recorded")]
    assert _values(mapped, "tb_wire_diameter_mm") == [(0.8, None)]


def test_a_word_that_a_list_names_is_none_for_missing(map_export: Read) -> None:
    words = """
[[table.list]]
column = "Wire"
separators = ["+"]
words = [{ is = ["none", "nr"], sets = { ttt_done = false } }, { is = "TTT", sets = { ttt_done = true } }]
"""  # noqa: E501
    mapped = map_export(_export("2,y,NR", "2,y,TTT", "2,y,n.a."), MAPPING + words)
    assert _values(mapped, "ttt_done") == [(False, None), (True, None), (None, "not_applicable")]


def test_what_is_filled_in_where_blank_carries_a_mark(map_export: Read) -> None:
    filled = "[when_blank.procedures]\nkwire_count = 2\n"
    mapped = map_export(_export("1,y,0.8", ",y,0.8"), filled + MAPPING + 'kwire_count = "Pins"\n')
    assert _values(mapped, "kwire_count") == [(1, None), (2, None)]
    marks = mapped.marks.filter(mark="derived").select("row_id", "variable")
    assert marks.rows() == [("clinic/procedures/2", "kwire_count")]
