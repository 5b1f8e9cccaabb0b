"""A simulated furnace record in the forms that the shop's logger mappings read.

The text is what ``scenario_pyrometry.TEXT_MAPPING`` reads, the spreadsheet what ``SHEET_MAPPING``
reads. Both have every channel of the logger, open where no sensor is on it. The bytes are
reproducible.
"""

import io
import zipfile
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from math import isnan, nan
from xml.sax.saxutils import escape

from seed_demo.furnace_physics import FurnaceRun
from seed_demo.scenario_pyrometry import (
    CHANNELS,
    SHEET,
    SHEET_COLUMNS,
    SHEET_VACUUM_COLUMN,
    TEXT_COLUMNS,
    TEXT_VACUUM_COLUMN,
)

_MBAR_OF_KPA = 10
_FIRST_DAY = datetime(1899, 12, 30, tzinfo=UTC)
_DAY_S = 86_400
_SPREADSHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_KINDS = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_WRITTEN_ON = (2001, 1, 1, 0, 0, 0)


def text_export(run: FurnaceRun, zone: tzinfo, *, rows: slice = slice(None)) -> bytes:
    """The text: a header block, names, units, then the rows asked for; gauge pressure in mbar."""
    columns = list(TEXT_COLUMNS.values())
    units = ["°C"] * len(columns) + ["mbar"]
    lines = [
        "Hall logger;export",
        f"Written by;channel set {len(columns)}",
        "",
        ";".join(["Date", "Time", *columns, TEXT_VACUUM_COLUMN]),
        ";".join(["", "", *units]),
    ]
    vacuum = [-_MBAR_OF_KPA * kpa for kpa in run.vacuum.tolist()]
    readings = [*_readings(run), vacuum]
    for at in range(*rows.indices(len(run.times_s))):
        moment = _moment(run, at, zone)
        cells = [_comma(values[at]) for values in readings]
        lines.append(";".join([f"{moment:%d.%m.%Y}", f"{moment:%H:%M:%S}", *cells]))
    return ("\r\n".join(lines) + "\r\n").encode("latin-1")


def sheet_export(run: FurnaceRun, zone: tzinfo) -> bytes:
    """The spreadsheet: one sheet, names in its first row, moments as date cells."""
    names = ["Moment", *SHEET_COLUMNS.values(), SHEET_VACUUM_COLUMN]
    readings = [*_readings(run), run.vacuum.tolist()]
    rows = [_row(1, [_text(name) for name in names])]
    for at in range(len(run.times_s)):
        local = _moment(run, at, zone).replace(tzinfo=UTC)
        days = (local - _FIRST_DAY).total_seconds() / _DAY_S
        cells = [f' s="1"><v>{days!r}</v>', *(_figure(values[at]) for values in readings)]
        rows.append(_row(at + 2, cells))
    return _package("".join(rows))


def _readings(run: FurnaceRun) -> list[list[float]]:
    """Every channel of the logger; one that no sensor was on reads nothing."""
    nothing = [nan] * len(run.times_s)
    return [
        run.channels[channel].tolist() if channel in run.channels else nothing
        for channel in CHANNELS
    ]


def _moment(run: FurnaceRun, at: int, zone: tzinfo) -> datetime:
    """The time of a sample as the shop's clock shows it, in whole seconds."""
    start = run.start.replace(microsecond=0)
    return (start + timedelta(seconds=round(float(run.times_s[at])))).astimezone(zone)


def _comma(reading: float) -> str:
    return "OPEN" if isnan(reading) else f"{reading + 0.0:.1f}".replace(".", ",")


def _text(words: str) -> str:
    return f' t="inlineStr"><is><t>{escape(words)}</t></is>'


def _figure(reading: float) -> str:
    return _text("OPEN") if isnan(reading) else f"><v>{reading:.1f}</v>"


def _row(number: int, cells: Sequence[str]) -> str:
    """A row; each cell is its attributes and content without the opening of its tag."""
    written = (f'<c r="{_letters(at)}{number}"{cell}</c>' for at, cell in enumerate(cells))
    return f'<row r="{number}">{"".join(written)}</row>'


def _letters(column: int) -> str:
    """A column's letters, counted from 0: A to Z, then AA."""
    first, last = divmod(column, 26)
    return (chr(64 + first) if first else "") + chr(65 + last)


def _package(rows: str) -> bytes:
    """The parts of a workbook of one sheet. Source: ECMA-376 part 1, 12.3, from memory."""
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in _parts(rows):
            entry = zipfile.ZipInfo(name, date_time=_WRITTEN_ON)
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, _XML + content)
    return kept.getvalue()


def _parts(rows: str) -> Iterable[tuple[str, str]]:
    overrides = "".join(
        f'<Override PartName="/xl/{name}.xml" ContentType="{_KINDS}.{kind}+xml"/>'
        for name, kind in (
            ("workbook", "sheet.main"),
            ("worksheets/sheet1", "worksheet"),
            ("styles", "styles"),
        )
    )
    relations = "application/vnd.openxmlformats-package.relationships+xml"
    yield (
        "[Content_Types].xml",
        (
            f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
            f'ContentType="{relations}"/><Default Extension="xml" ContentType="application/xml"/>'
            f"{overrides}</Types>"
        ),
    )
    yield "_rels/.rels", _relations(("officeDocument", "xl/workbook.xml"))
    yield (
        "xl/workbook.xml",
        (
            f'<workbook xmlns="{_SPREADSHEET}" xmlns:r="{_OFFICE}"><sheets>'
            f'<sheet name="{SHEET}" sheetId="1" r:id="rId1"/></sheets></workbook>'
        ),
    )
    yield (
        "xl/_rels/workbook.xml.rels",
        _relations(("worksheet", "worksheets/sheet1.xml"), ("styles", "styles.xml")),
    )
    yield (
        "xl/styles.xml",
        (
            f'<styleSheet xmlns="{_SPREADSHEET}"><numFmts count="1"><numFmt numFmtId="164" '
            'formatCode="yyyy-mm-dd hh:mm:ss"/></numFmts><fonts count="1"><font/></fonts>'
            '<fills count="1"><fill/></fills><borders count="1"><border/></borders>'
            '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf/>'
            '<xf numFmtId="164" applyNumberFormat="1"/></cellXfs></styleSheet>'
        ),
    )
    yield (
        "xl/worksheets/sheet1.xml",
        f'<worksheet xmlns="{_SPREADSHEET}"><sheetData>{rows}</sheetData></worksheet>',
    )


def _relations(*targets: tuple[str, str]) -> str:
    written = "".join(
        f'<Relationship Id="rId{number}" Type="{_OFFICE}/{kind}" Target="{target}"/>'
        for number, (kind, target) in enumerate(targets, start=1)
    )
    return f'<Relationships xmlns="{_PACKAGE}/relationships">{written}</Relationships>'
