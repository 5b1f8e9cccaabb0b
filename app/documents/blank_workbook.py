"""A blank XLSX sheet to be filled in, all of its columns formatted as text.

In a text column a spreadsheet keeps what is typed, trailing zeros too. Source: ECMA-376 Part 1,
12.3 (the parts of a package), 18.3 (worksheets), 18.8 (styles; number format 49 is text), from
memory.
"""

import io
import zipfile
from xml.sax.saxutils import escape

_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_SHEETS = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LINKS = "http://schemas.openxmlformats.org/package/2006/relationships"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"
_KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_MOMENT = (1980, 1, 1, 0, 0, 0)
"""The same file each time, to the byte."""

_FIXED = {
    "[Content_Types].xml": (
        f'<Types xmlns="{_TYPES}"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_KIND}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_KIND}.worksheet+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_KIND}.styles+xml"/></Types>'
    ),
    "_rels/.rels": (
        f'<Relationships xmlns="{_LINKS}"><Relationship Id="rId1" Type="{_OFFICE}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>'
    ),
    "xl/_rels/workbook.xml.rels": (
        f'<Relationships xmlns="{_LINKS}"><Relationship Id="rId1" Type="{_OFFICE}/worksheet" '
        f'Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="{_OFFICE}/styles" '
        'Target="styles.xml"/></Relationships>'
    ),
    "xl/workbook.xml": (
        f'<workbook xmlns="{_SHEETS}" xmlns:r="{_OFFICE}"><sheets>'
        '<sheet name="Acceptance table" sheetId="1" r:id="rId1"/></sheets></workbook>'
    ),
    "xl/styles.xml": (
        f'<styleSheet xmlns="{_SHEETS}"><fonts count="1"><font/></fonts><fills count="2"><fill>'
        '<patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill>'
        '</fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
        '<cellXfs count="2"><xf numFmtId="0" xfId="0"/><xf numFmtId="49" xfId="0" '
        'applyNumberFormat="1"/></cellXfs></styleSheet>'
    ),
}


def blank_workbook(head: tuple[str, ...], columns: tuple[str, ...]) -> bytes:
    """The XLSX file: a row for each word of the head, an empty row, and the column names."""
    lines = [(word,) for word in head]
    rows = [_row(number, line) for number, line in enumerate(lines, start=1)]
    rows.append(_row(len(head) + 2, columns))
    sheet = (
        f'<worksheet xmlns="{_SHEETS}"><cols><col min="1" max="{len(columns)}" width="16" '
        f'style="1" customWidth="1"/></cols><sheetData>{"".join(rows)}</sheetData></worksheet>'
    )
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in {**_FIXED, "xl/worksheets/sheet1.xml": sheet}.items():
            package.writestr(zipfile.ZipInfo(name, _MOMENT), _XML + content)
    return target.getvalue()


def _row(number: int, words: tuple[str, ...]) -> str:
    cells = "".join(f'<c t="inlineStr" s="1"><is><t>{escape(word)}</t></is></c>' for word in words)
    return f'<row r="{number}">{cells}</row>'
