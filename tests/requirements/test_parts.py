"""Procedures and mappings in words, and what two revisions differ in."""

import json
from copy import deepcopy
from typing import Any

from app.documents.logger.logger_mapping import load_mapping
from app.documents.pyrometry import load_procedure
from app.requirements.rules import (
    Change,
    Part,
    changes,
    cycle_parts,
    mapping_parts,
    procedure_parts,
)
from tests.makers import CYCLE_PAPER, SHOP_RULES
from tests.requirements.papers import MAPPING, PROCEDURE, mapping, procedure


def _procedure(**changed: Any) -> tuple[Part, ...]:
    return procedure_parts(load_procedure(procedure(**changed)))


def _mapping(**changed: Any) -> tuple[Part, ...]:
    read = load_mapping(mapping(**changed), filename="MAPPING.json")
    return mapping_parts(read.model_dump(mode="json"))


def _leaves(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [leaf for one in value.values() for leaf in _leaves(one)]
    if isinstance(value, list):
        return [leaf for one in value for leaf in _leaves(one)]
    return [] if value is None or isinstance(value, bool) else [str(value)]


def test_every_figure_and_source_of_a_procedure_stands_in_its_parts() -> None:
    said = " | ".join(cell for part in _procedure() for line in part.lines for cell in line)
    body = {key: PROCEDURE[key] for key in PROCEDURE if key not in {"name", "revision"}}
    for leaf in _leaves(body):
        assert leaf.replace("last day of the month", "month's last day") in said, leaf


def test_a_procedures_parts_are_said_in_words() -> None:
    parts = {part.anchor: part for part in _procedure()}
    assert parts["intervals"].lines[0] == (
        "uniformity survey",
        "1",
        "B",
        "3 months",
        "invented document 7, clause 2",
        "invented: fit for no real use",
    )
    assert parts["intervals"].lines[2][1:4] == ("any", "D", "90 days")
    assert parts["intervals"].lines[2][-1] == "common practice"
    assert parts["classes"].lines[0][1] == "±3.0 °C"
    assert parts["survey"].lines[0][:2] == ("up to 20.5 m²", "5")
    assert parts["survey"].lines[1][0] == "however large"
    assert parts["maintenance"].lines[1][:2] == ("painted outside", "nothing")
    assert parts["sensor-life"].lines[0][:2] == ("Uses", "40")
    assert parts["sensor-life"].lines[1][:2] == ("Time since its first use", "no limit")
    assert ("On the due day itself", "still in date") in parts["calendar"].lines
    late = {
        part.anchor: part
        for part in _procedure(calendar={**PROCEDURE["calendar"], "due_day_counts": False})
    }
    assert ("On the due day itself", "overdue") in late["calendar"].lines


def test_every_name_of_a_mapping_stands_in_its_parts() -> None:
    said = " | ".join(cell for part in _mapping() for line in part.lines for cell in line)
    named = {key: MAPPING[key] for key in ("channels", "time", "delimiter", "decimal_mark")}
    for leaf in _leaves(named):
        words = {"pattern": "day-month-year", "below ambient": "pressure below ambient"}
        assert words.get(leaf, leaf) in said, leaf
    assert "LATIN" not in said
    assert "Latin-1" in said


def test_a_mapping_of_several_spreadsheets_is_said_in_words() -> None:
    parts = {
        part.anchor: part
        for part in _mapping(
            kind="xlsx",
            sheet="Run",
            encoding=None,
            delimiter=None,
            decimal_mark="point",
            header=4,
            time={"columns": [1], "kind": "date cell", "zone": "Europe/London"},
            files="side by side",
            join="union of times",
            channels=[{"channel": "TC1", "column": "A1", "unit": "F", "in_file": "east"}],
            vacuum={
                "channel": "VAC",
                "column": 3,
                "unit": "mbar",
                "sense": "absolute",
                "ambient_kpa": "101.3",
                "in_file": "west",
            },
            footer={"marker": "End", "rows": None},
            ignored=["Alarm"],
            missing=["OPEN"],
        )
    }
    assert parts["file"].lines == (("Kind of file", "spreadsheet (XLSX)"), ("Sheet", "Run"))
    assert ("Header row", "row 4") in parts["header"].lines
    assert ("After the last reading", "from a row that begins with 'End' on") in parts[
        "header"
    ].lines
    assert ("Columns not read", "Alarm") in parts["header"].lines
    assert parts["time"].lines[0] == ("Column", "column 1")
    assert parts["channels"].lines == (("TC1", "A1", "°F", "whose name holds 'east'"),)
    assert ("Measured as", "absolute pressure, ambient 101.3 kPa") in parts["vacuum"].lines
    assert ("Their times", "union of times") in parts["several"].lines


def test_a_mapping_without_vacuum_of_elapsed_times_is_said_in_words() -> None:
    parts = {
        part.anchor: part
        for part in _mapping(
            header="none",
            unit_row=False,
            ignored=[],
            time={"columns": [1], "kind": "elapsed", "elapsed_unit": "minutes"},
            channels=[{"channel": "TC1", "column": 2}],
            vacuum=None,
            footer={"marker": None, "rows": 2},
        )
    }
    assert parts["vacuum"].lines == (("Column", "none is read"),)
    assert parts["time"].lines == (
        ("Column", "column 1"),
        ("Written as", "time since the start, in minutes"),
    )
    assert ("After the last reading", "the last 2 rows") in parts["header"].lines


def test_a_changed_value_is_one_change_and_the_rest_is_none() -> None:
    assert changes(_procedure(), _procedure()) == ()
    altered = deepcopy(PROCEDURE)
    altered["intervals"][0]["every"] = {"months": 1}
    altered["intervals"][0]["source"] = "invented document 7, clause 2a"
    assert changes(_procedure(), _procedure(**altered)) == (
        Change(
            "How often a furnace is checked",
            "uniformity survey, 1, B: every",
            "3 months",
            "1 month",
        ),
        Change(
            "How often a furnace is checked",
            "uniformity survey, 1, B: source",
            "invented document 7, clause 2",
            "invented document 7, clause 2a",
        ),
    )


def test_a_row_that_one_revision_lacks_is_one_change() -> None:
    shorter = _procedure(maintenance=PROCEDURE["maintenance"][:1])
    added = changes(shorter, _procedure())
    assert [(one.what, one.before) for one in added] == [("painted outside", None)]
    assert (added[0].after or "").startswith("nothing; invented document 7")
    (gone,) = changes(_procedure(), shorter)
    assert (gone.what, gone.after) == ("painted outside", None)


def test_a_cycles_change_names_clause_and_value() -> None:
    after = {**CYCLE_PAPER, "max_gap_s": 60}
    before = cycle_parts(json.loads(json.dumps(CYCLE_PAPER)), SHOP_RULES)
    assert changes(before, cycle_parts(after, SHOP_RULES)) == (
        Change("The record", "Longest gap bridged", "120 s (2 min)", "60 s (1 min)"),
    )
