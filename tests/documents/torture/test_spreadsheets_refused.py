"""Spreadsheets that compute, hide, reach elsewhere or burst are refused, each with its reason."""

import io
import re
import zipfile
from collections.abc import Callable
from datetime import datetime

import pytest
import xlsxwriter

from app.documents.logger import logger_package
from app.documents.logger.logger_files import LoggerFile, read_logger
from app.documents.logger.logger_mapping import mapping_from_json
from app.errors import BadFile

MAPPING = {
    "name": "sheet",
    "kind": "xlsx",
    "header": "by names",
    "time": {"columns": ["Time"], "kind": "date cell", "zone": "UTC"},
    "temperature_unit": "C",
    "channels": [{"channel": "TC1", "column": "TC1"}, {"channel": "TC2", "column": "TC2"}],
}
ROWS = 5


def book(change: Callable[..., None] | None = None, **options: object) -> bytes:
    """A sheet of three columns from row 3 on, and what ``change`` does to it."""
    target = io.BytesIO()
    workbook = xlsxwriter.Workbook(target, {"in_memory": True, **options})
    sheet = workbook.add_worksheet("Log")
    dated = workbook.add_format({"num_format": "dd.mm.yyyy hh:mm:ss.000"})
    sheet.write_string(0, 0, "Export")
    for at, name in enumerate(["Time", "TC1", "TC2"]):
        sheet.write_string(2, at, name)
    for row in range(ROWS):
        sheet.write_datetime(3 + row, 0, datetime(2031, 4, 3, 8, row), dated)  # noqa: DTZ001 - a sheet's clock
        sheet.write_number(3 + row, 1, 20.5 + row)
        sheet.write_number(3 + row, 2, 21.5 + row)
    if change is not None:
        change(workbook, sheet)
    workbook.close()
    return target.getvalue()


def repacked(content: bytes, change: Callable[[str, bytes], bytes]) -> bytes:
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as source,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed,
    ):
        for name in source.namelist():
            packed.writestr(name, change(name, source.read(name)))
    return target.getvalue()


def with_part(content: bytes, name: str, part: bytes) -> bytes:
    target = io.BytesIO(content)
    with zipfile.ZipFile(target, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(name, part)
    return target.getvalue()


def sheet_changed(old: str, new: str) -> bytes:
    def change(name: str, part: bytes) -> bytes:
        if not name.endswith("sheet1.xml"):
            return part
        assert re.search(old, part.decode())
        return re.sub(old, new, part.decode(), count=1).encode()

    return repacked(book(), change)


def read(content: bytes, **keys: object):
    mapping = mapping_from_json(MAPPING | keys, filename="mapping")
    return read_logger([LoggerFile("run.xlsx", content)], mapping)


def refusal(content: bytes, **keys: object) -> str:
    with pytest.raises(BadFile) as refused:
        read(content, **keys)
    assert refused.value.sentence.startswith("run.xlsx")
    assert "\n" not in refused.value.sentence
    return refused.value.sentence


def test_the_plain_sheet_is_read() -> None:
    reading = read(book())
    assert reading.trace.channels["TC2"].tolist() == [21.5, 22.5, 23.5, 24.5, 25.5]
    assert reading.trace.times.tolist() == [0, 60, 120, 180, 240]
    assert reading.started_at.isoformat() == "2031-04-03T08:00:00+00:00"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda _, s: s.write_formula(5, 1, "=B4", None, 22.5), "cell B6 holds a formula"),
        (lambda _, s: s.write_formula(0, 9, "=B4", None, 22.5), "cell J1 holds a formula"),
        (lambda _, s: s.merge_range(4, 1, 4, 2, 22.5), "the cells B5:C5 are merged"),
        (lambda _, s: s.merge_range(1, 1, 2, 1, "TC1"), "the cells B2:B3 are merged"),
        (lambda _, s: s.set_row(5, None, None, {"hidden": True}), "row 6 is hidden"),
        (lambda _, s: s.set_row(6, 0), "row 7 is hidden"),
        (
            lambda _, s: s.set_column(2, 2, None, None, {"hidden": True}),
            "columns C to C are hidden",
        ),
        (lambda _, s: s.set_column(1, 1, 0), "columns B to B are hidden"),
        (lambda _, s: s.set_default_row(hide_unused_rows=True), "hides rows"),
        (lambda b, _: b.add_worksheet("More"), "it has 2 sheets (Log, More)"),
        (lambda _, s: s.write_string(4, 1, "abc"), "row 5, column TC1: 'abc' is no number"),
        (lambda _, s: s.write_boolean(4, 1, True), "row 5, column TC1: 'TRUE' is no number"),  # noqa: FBT003
        (lambda _, s: s.write_string(4, 0, "2031-04-03"), "row 5, column Time: it is no date cell"),
        (lambda _, s: s.write_number(5, 0, 47941.3), "row 6, column Time: it is no date cell"),
        (lambda _, s: s.write_number(4, 7, 1), "cell H5 stands beyond the last column"),
        (lambda _, s: s.write_string(2, 3, "Door"), "the column Door is neither read nor ignored"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_what_a_sheet_must_not_hold(change, says) -> None:
    assert says in refusal(book(change))


def test_what_is_merged_or_hidden_outside_the_table_does_not_matter() -> None:
    def change(_, sheet) -> None:
        sheet.merge_range(0, 0, 0, 2, "Export")
        sheet.set_row(1, None, None, {"hidden": True})
        sheet.set_column(8, 9, None, None, {"hidden": True})

    assert len(read(book(change)).trace.times) == ROWS


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            r'<c r="B5"><v>21.5</v>',
            r'<c r="B5" t="e"><v>#DIV/0!</v>',
            "row 5, column TC1: '#DIV/0!'",
        ),
        (r'<c r="B5"><v>21.5</v>', r'<c r="B5" t="d"><v>2031-04-03</v>', "cell B5 holds a date"),
        (r'<c r="B5">', r'<c r="A5">', "cell A5 is out of order"),
        (r'<c r="B5">', r'<c r="B9">', "cell B9 is out of order"),
        (r'<row r="5"', r'<row r="4"', "row 4 is out of order"),
        (r'<row r="5"', r'<row r="x"', "row x is out of order"),
        (r"<v>21.5</v>", r"<v>NaN</v>", "run.xlsx"),
        (r"<v>21.5</v>", r"<v>1e999</v>", "run.xlsx, "),
        (r"<v>21.5</v>", r"<v>twenty</v>", "row 4, column TC2: 'twenty' is no number"),
        (r'(<c r="A5" s="\d">)<v>[\d.]+', r"\1<v>1e999", "cell A5 holds '1e999', which is no date"),
        (r"<sheetData>", r"<sheetData><evil>", "no sound XML"),
        (
            r"<worksheet",
            '<!DOCTYPE w [<!ENTITY a "1"><!ENTITY b "&a;&a;&a;">]><worksheet',
            "declares a document type",
        ),
    ],
)
def test_harm_in_the_sheets_own_xml(old, new, says) -> None:
    assert says in refusal(sheet_changed(old, new))


def test_a_cell_without_a_value_by_a_missing_formula_is_a_missing_reading() -> None:
    content = sheet_changed(r'<c r="B5"><v>21.5</v>', r'<c r="B5" t="e"><v>#N/A</v>')
    assert str(read(content).trace.channels["TC1"].tolist()) == "[20.5, nan, 22.5, 23.5, 24.5]"


@pytest.mark.parametrize(
    "written", ["47941.33403", "47941.334028", "47941.33402778", "47941.3340278"]
)
def test_a_date_cell_that_was_cut_short_is_refused(written) -> None:
    """08:01:00 is 0.3340277... of a day; what fewer decimals leave of it is another time."""
    cut = sheet_changed(r'(<c r="A5" s="\d">)<v>[\d.]+', rf"\1<v>{written}")
    assert "no whole millisecond" in refusal(cut)


def test_a_date_cell_of_fifteen_digits_is_exact() -> None:
    cut = sheet_changed(r'(<c r="A5" s="\d">)<v>[\d.]+', r"\1<v>47941.3340277778")
    assert read(cut).trace.times.tolist() == [0, 60, 120, 180, 240]


def test_both_date_systems_give_the_same_instants() -> None:
    one, other = read(book()), read(book(date_1904=True))
    assert one.started_at == other.started_at
    assert one.trace.times.tobytes() == other.trace.times.tobytes()


def test_day_numbers_of_both_systems() -> None:
    """ECMA-376 Part 1, 18.17.4.1, from memory: 1 January 2000 is 36526, or 35064 from 1904."""
    for days, options in ((36526, {}), (35064, {"date_1904": True})):
        target = io.BytesIO()
        workbook = xlsxwriter.Workbook(target, {"in_memory": True, **options})
        sheet = workbook.add_worksheet("Log")
        dated = workbook.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet.write_row(0, 0, ["Time", "TC1", "TC2"])
        sheet.write_number(1, 0, days, dated)
        sheet.write_row(1, 1, [20.5, 21.5])
        workbook.close()
        started = read(target.getvalue()).started_at
        assert started.isoformat() == "2000-01-01T00:00:00+00:00"


def test_macros_links_and_binary_workbooks_are_refused() -> None:
    plain = book()
    assert "holds macros" in refusal(with_part(plain, "xl/vbaProject.bin", b"x"))
    assert "holds macros" in refusal(with_part(plain, "xl/macrosheets/sheet1.xml", b"<x/>"))
    says = refusal(with_part(plain, "xl/externalLinks/externalLink1.xml", b"<x/>"))
    assert "takes figures from other files" in says
    assert "binary workbook" in refusal(with_part(plain, "xl/worksheets/sheet1.bin", b"x"))

    def for_macros(name: str, part: bytes) -> bytes:
        return part.replace(
            b"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
            b"application/vnd.ms-excel.sheet.macroEnabled.main+xml",
        )

    assert "workbook for macros" in refusal(repacked(plain, for_macros))


def test_files_that_are_no_workbook_are_refused() -> None:
    assert "old XLS or a password-protected" in refusal(
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600
    )
    assert "no XLSX file" in refusal(b"Time,TC1\n1,2\n")
    assert "damaged" in refusal(b"PK\x03\x04" + b"\0" * 60)
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as packed:
        packed.writestr("readme.txt", "hello")
    assert "is missing" in refusal(target.getvalue())


def test_a_part_that_stands_twice_is_refused() -> None:
    with pytest.warns(UserWarning, match="Duplicate name"):
        twice = with_part(book(), "xl/worksheets/sheet1.xml", b"<worksheet/>")
    assert "two of its parts have one name" in refusal(twice)


def test_bombs_are_refused_before_they_burst(monkeypatch) -> None:
    def swollen(name: str, part: bytes) -> bytes:
        if not name.endswith("sheet1.xml"):
            return part
        return part.replace(b"</worksheet>", b" " * 60_000_000 + b"</worksheet>")

    content = repacked(book(), swollen)
    assert len(content) < 200_000
    assert "expands to 60 MB" in refusal(content)
    monkeypatch.setattr(logger_package, "LARGEST_EXPANDED", 2_000)
    assert "more than is taken" in refusal(book())
    monkeypatch.undo()
    monkeypatch.setattr(logger_package, "MOST_PARTS", 5)
    assert "parts, more than any export" in refusal(book())


def test_a_part_that_is_larger_than_it_says_is_refused() -> None:
    """The size in the package's list is lowered; what is packed stays as it is."""
    content = bytearray(book())
    with zipfile.ZipFile(io.BytesIO(bytes(content))) as package:
        size = package.getinfo("xl/worksheets/sheet1.xml").file_size
    listed = content.rfind(b"xl/worksheets/sheet1.xml") - 46
    assert content[listed : listed + 4] == b"PK\x01\x02"
    assert int.from_bytes(content[listed + 24 : listed + 28], "little") == size
    content[listed + 24 : listed + 28] = (size // 2).to_bytes(4, "little")
    assert "run.xlsx" in refusal(bytes(content))


def test_an_encrypted_part_is_refused() -> None:
    content = bytearray(book())
    listed = content.rfind(b"xl/worksheets/sheet1.xml") - 46
    content[listed + 8] |= 1
    assert "it is encrypted" in refusal(bytes(content))


def test_a_hidden_sheet_is_refused_and_a_named_one_is_read() -> None:
    def two(workbook, _) -> None:
        workbook.add_worksheet("Cover").activate()

    content = book(two)
    assert len(read(content, sheet="Log").trace.times) == ROWS
    assert "no sheet Run, only Log, Cover" in refusal(content, sheet="Run")

    def hidden(workbook, sheet) -> None:
        workbook.add_worksheet("Cover").activate()
        sheet.hide()

    assert "the sheet Log is hidden" in refusal(book(hidden), sheet="Log")
