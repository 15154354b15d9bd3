"""Two wires of one size are two pieces, also where one row of the export tells of both."""

from pipeline.check import check
from pipeline.intake.mapped import Mapped
from schemas.codebook import read_codebook
from tests.pipeline.intake.one_export import TABLE, TOP, Read, export

PIECE = """
[[table]]
make = "implants"
from = "cases"
[table.columns]
local_animal = "Case"
side = { column = "Limb", codes = { L = "left", R = "right" } }
implant_type = { value = "k_wire" }
"""


def _pieces(read: Read, *wires: str, rows: int = 1) -> tuple[list[object], list[str]]:
    """Read rows of one joint that each tell of these wires: the numbers kept, what merged."""
    cells = ["1.2"] * rows
    lines = export("Pin", *cells)["cases.csv"]
    assert isinstance(lines, str)
    files = {"cases.csv": lines.replace("A2;", "A1;")}
    tables = "".join(f"{PIECE}{made}\n" for made in wires)
    mapped: Mapped = read(files, f"{TOP}{TABLE}{tables}")
    checked = check(mapped, read_codebook())
    merged = checked.findings.filter(rule="R07", table="implants")["row_id"].to_list()
    return checked.tables["implants"]["implant_no"].to_list(), merged


def test_equal_wires_of_one_row_are_both_kept(map_export: Read) -> None:
    numbers, merged = _pieces(map_export, *['implant_diameter_mm = "Pin"'] * 2)
    assert (sorted(map(str, numbers)), merged) == (["1", "2"], [])


def test_equal_wires_with_numbers_of_their_own_are_both_kept(map_export: Read) -> None:
    numbered = [f'implant_diameter_mm = "Pin"\nimplant_no = {{ value = "{number}" }}'
                for number in (1, 3)]  # fmt: skip
    numbers, merged = _pieces(map_export, *numbered)
    assert (sorted(map(str, numbers)), merged) == (["1", "3"], [])


def test_a_row_drawn_twice_gives_its_wires_once(map_export: Read) -> None:
    numbers, merged = _pieces(map_export, *['implant_diameter_mm = "Pin"'] * 2, rows=2)
    assert (sorted(map(str, numbers)), len(merged)) == (["1", "2"], 2)
