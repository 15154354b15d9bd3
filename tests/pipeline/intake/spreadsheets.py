"""Workbooks, OpenDocument files and archives made part by part, as no program would write them."""

import io
import zipfile
from collections.abc import Mapping

_RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
HEADER_ROW = (
    '<row r="1"><c r="A1" t="inlineStr"><is><t>Case</t></is></c>'
    '<c r="B1" t="inlineStr"><is><t>Side</t></is></c>'
    '<c r="C1" t="inlineStr"><is><t>Date</t></is></c></row>'
)


def zipped(parts: Mapping[str, bytes | str], *, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Pack parts into an archive."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", method) as archive:
        for name, content in parts.items():
            archive.writestr(zipfile.ZipInfo(name), content, method)
    return packed.getvalue()


def xlsx(rows: str, *, before: str = "", after: str = "", **parts: str) -> bytes:
    """Make a workbook of one sheet "Data" from the XML of its rows; other parts by their name."""
    sheet = f"<worksheet>{before}<sheetData>{rows}</sheetData>{after}</worksheet>"
    return zipped(workbook_parts({"Data": sheet}, **parts))


def workbook_parts(sheets: Mapping[str, str], **parts: str) -> dict[str, str]:
    """Give the parts of a workbook of several sheets."""
    listed = "".join(
        f'<sheet name="{name}" sheetId="{n}" r:id="s{n}"/>' for n, name in enumerate(sheets, 1)
    )
    linked = "".join(
        f'<Relationship Id="s{n}" Type="{_RELATION}/worksheet" Target="worksheets/s{n}.xml"/>'
        for n in range(1, len(sheets) + 1)
    ) + "".join(
        f'<Relationship Id="{name}" Type="{_RELATION}/{name}" Target="{name}.xml"/>'
        for name in parts
    )
    return {
        "xl/workbook.xml": f'<workbook xmlns:r="{_RELATION}"><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f"<Relationships>{linked}</Relationships>",
        **{f"xl/worksheets/s{n}.xml": xml for n, xml in enumerate(sheets.values(), 1)},
        **{f"xl/{name}.xml": xml for name, xml in parts.items()},
    }


def row(number: int, *texts: str, settings: str = "") -> str:
    """Write one row of text cells."""
    cells = "".join(
        f'<c r="{chr(65 + place)}{number}" t="inlineStr"><is><t>{text}</t></is></c>'
        for place, text in enumerate(texts)
    )
    return f'<row r="{number}" {settings}>{cells}</row>'


def ods(rows: str, *, before: str = "") -> bytes:
    """Make an OpenDocument spreadsheet of one table "Data" from the XML of its rows."""
    return zipped({
        "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
        "content.xml": f'{before}<office:document-content xmlns:office="o" xmlns:table="t" '
                       'xmlns:text="x" xmlns:calcext="c"><office:body><office:spreadsheet>'
                       f'<table:table table:name="Data">{rows}</table:table>'
                       "</office:spreadsheet></office:body></office:document-content>",
    })  # fmt: skip


def ods_row(*texts: str, settings: str = "", repeated: int = 1) -> str:
    """Write one row of text cells, the last of them repeated."""
    cells = "".join(
        f'<table:table-cell office:value-type="string" table:number-columns-repeated="{n}">'
        f"<text:p>{text}</text:p></table:table-cell>"
        for text, n in zip(texts, [1] * (len(texts) - 1) + [repeated], strict=True)
    )
    return f"<table:table-row {settings}>{cells}</table:table-row>"
