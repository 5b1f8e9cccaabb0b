"""An acceptance table from a sheet: digit for digit, or refused with sheet, row and column."""

import io
from dataclasses import replace
from datetime import datetime
from decimal import Decimal

import pytest
import xlsxwriter

from app.documents.blank_workbook import blank_workbook
from app.documents.sheet_cells import MOST_ROWS, Grid, Row, SheetCell, blank_sheet, read_grid
from app.documents.table import table_from_json, table_to_json
from app.documents.table_sheet import COLUMNS, HEAD, table_of_sheet
from app.errors import BadFile
from app.judging.witness.acceptance import Statistic, ZoneOutcome

KEY = {
    "alloy": "Q-77",
    "temper": "K1",
    "form": "plate",
    "thickness from": "6,0",
    "thickness to": "40.0",
    "to included": "no",
    "source": "table 2",
    "obtained": "invented",
}
HARD = {
    "quantity": "Hardness",
    "scale or unit": "HRB",
    "statistic": "each",
    "readings": "3",
    "min": "83,0",
}
MEAN = {
    "quantity": "conductivity",
    "scale or unit": "%IACS",
    "statistic": "mean",
    "readings": "3",
    "resolution": "0.1",
    "own source": "table 3, note 2",
    "zone to": "36.9",
    "zone outcome": "reject",
}
IF = {
    "zone from": "37.0",
    "zone to": "37.9",
    "zone outcome": "accept if",
    "also quantity": "yield strength",
    "also scale or unit": "MPa",
    "also max": "480",
}
ROWS = [KEY | HARD, KEY | MEAN, IF, {"zone from": "38.0", "zone outcome": "accept"}]


def _lines(rows: list[dict[str, object]]) -> list[list[object]]:
    head: list[list[object]] = [["Name", "Invented limits"], ["revision:", "A"]]
    head += [["source document", "paper 9"], [], list(COLUMNS)]
    return head + [[row.get(name, "") for name in COLUMNS] for row in rows]


def _csv(rows: list[dict[str, object]], mark: str = ";") -> Grid:
    text = "\r\n".join(mark.join(str(cell) for cell in line) for line in _lines(rows))
    return read_grid(text.encode("utf-8-sig"), filename="limits.csv")


def _xlsx(rows: list[dict[str, object]], *, formula: bool = False) -> bytes:
    target = io.BytesIO()
    with xlsxwriter.Workbook(target, {"default_date_format": "yyyy-mm-dd"}) as book:
        sheet = book.add_worksheet("Limits")
        for at, line in enumerate(_lines(rows)):
            for column, cell in enumerate(line):
                if isinstance(cell, datetime):
                    sheet.write_datetime(at, column, cell)
                elif isinstance(cell, float):
                    sheet.write_number(at, column, cell)
                elif cell:
                    sheet.write_string(at, column, str(cell))
        if formula:
            sheet.write_formula("Q9", "=1+1")
    return target.getvalue()


def test_a_sheet_is_read_digit_for_digit_as_csv_and_as_a_workbook() -> None:
    table, source = table_of_sheet(_csv(list(ROWS)))
    assert source == "paper 9"
    (entry,) = table.entries
    hard, mean = entry.criteria
    assert str(hard.minimum) == "83.0"
    assert not entry.key.thickness.upper_included
    assert (mean.statistic, mean.source) == (Statistic.MEAN, "table 3, note 2")
    assert [zone.outcome for zone in mean.zones] == [
        ZoneOutcome.REJECT,
        ZoneOutcome.ACCEPT_IF,
        ZoneOutcome.ACCEPT,
    ]
    assert mean.zones[1].also[0].maximum == Decimal("480")
    kept = table_to_json(table)
    assert table_from_json(kept) == table
    grid = read_grid(_xlsx([*ROWS[:1], *ROWS[1:]]), filename="limits.xlsx")
    assert grid.sheet == "sheet Limits"
    assert table_of_sheet(grid)[0] == table
    # Counts may be numbers: no digit of theirs is lost.
    counted = [row | {"readings": 3.0} if "readings" in row else row for row in ROWS]
    assert table_of_sheet(read_grid(_xlsx(list(counted)), filename="limits.xlsx"))[0] == table
    with pytest.raises(BadFile, match="no row holds the column names"):
        table_of_sheet(read_grid(b"a,b\n1,2\n", filename="x.csv"))


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"min": 83.0}, "sheet Limits, row 6, column min: 83 is a number to the spreadsheet"),
        ({"min": 83.25}, "column min: 83.25 is a number to the spreadsheet"),
        ({"max": datetime(2026, 3, 5)}, "row 6, column max: it is a date"),  # noqa: DTZ001
        ({"min": "8 3"}, "row 6, column min: '8 3' is no figure"),
        ({"min": "1.083,0"}, "is no figure; write it like 38.5 or 38,5"),
        ({"readings": "three"}, "column readings: 'three' is no whole number"),
        ({"to included": "perhaps"}, "column to included: 'perhaps' is neither yes nor no"),
        ({"alloy": "", "source": ""}, "column alloy: it is empty where a new entry begins"),
        ({"quantity": ""}, "column quantity: it is empty, and no criterion stands above"),
        ({"quantity": "hardnes"}, r"entries\[0\]\.criteria\[0\].* \(sheet Limits, row 6\)"),
        ({"scale or unit": "HRX"}, r"Entry 1 .*criterion 1.* \(sheet Limits, row 6\)"),
        ({"obtained": "guessed"}, r"entries\[0\].obtained.* \(sheet Limits, row 6\)"),
    ],
)
def test_every_fault_is_named_with_its_place(changed: dict[str, object], says: str) -> None:
    content = _xlsx([ROWS[0] | changed])
    with pytest.raises(BadFile, match=says):
        table_of_sheet(read_grid(content, filename="limits.xlsx"))


def test_several_faults_are_told_at_once() -> None:
    grid = _csv([ROWS[0] | {"min": "x", "readings": "y"}, {"zone outcome": "", "max": "z"}])
    with pytest.raises(BadFile) as refused:
        table_of_sheet(grid)
    told = refused.value.sentence
    assert "row 6, column min" in told
    assert "row 6, column readings" in told
    assert "row 7, column max" in told


def test_formulas_bombs_and_foreign_files_are_refused() -> None:
    with pytest.raises(BadFile, match="cell Q9 holds a formula; save the sheet with values only"):
        read_grid(_xlsx(list(ROWS), formula=True), filename="limits.xlsx")
    target = io.BytesIO()
    with xlsxwriter.Workbook(target) as book:
        book.add_worksheet("One")
        book.add_worksheet("Two")
    with pytest.raises(BadFile, match=r"it has 2 sheets \(One, Two\); name the one to read\.$"):
        read_grid(target.getvalue(), filename="limits.xlsx")
    for content, says in (
        (b"PK\x03\x04 no more", "damaged XLSX"),
        (b"\xff\xfe\x00", "it is not UTF-8"),
        (b"a,b\0", "neither CSV nor XLSX"),
        (b'quantity,"b\n', "quotes do not match"),
        (b"1\n" * (MOST_ROWS + 1), "more than 2000 rows"),
        (b"1" * 2_000_001, "larger than 2000000 bytes"),
    ):
        with pytest.raises(BadFile, match=says):
            read_grid(content, filename="limits.csv")


def test_the_blank_sheet_can_be_filled_in_and_read() -> None:
    text = blank_sheet(HEAD, COLUMNS)
    filled = text.replace("name,", "name,Invented", 1).replace("revision,", "revision,A", 1)
    row = KEY | HARD | {"thickness from": "6.0", "min": "83.0"}
    line = ",".join(row.get(name, "") for name in COLUMNS)
    table, _ = table_of_sheet(read_grid((filled + line).encode(), filename="filled.csv"))
    assert str(table.entries[0].criteria[0].minimum) == "83.0"
    workbook = read_grid(blank_workbook(HEAD, COLUMNS), filename="blank.xlsx")
    assert workbook.sheet == "sheet Acceptance table"
    assert [cell.text for cell in workbook.rows[-1].cells] == list(COLUMNS)
    with pytest.raises(BadFile, match="the table has none"):
        table_of_sheet(replace(workbook, rows=(*_head_rows(), workbook.rows[-1])))


def _head_rows() -> tuple[Row, ...]:
    return tuple(
        Row(at, (SheetCell(name), SheetCell("A"))) for at, name in enumerate(HEAD[:2], start=1)
    )
