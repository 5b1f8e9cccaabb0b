"""A report's figures as typed or pasted, and what its file and its outcome may be."""

from decimal import Decimal

import pytest

from app.documents.pyrometry import procedure_from_json
from app.equipment.rules import figures_from_lines, judge_figures, media_type_of, survey_of
from app.equipment.rules.reports import LARGEST_REPORT_BYTES, SentFile, outcome_by_figures
from app.errors import Refusal
from app.judging.furnace.procedure import CheckKind
from app.judging.verdict import Finding, Outcome, worst
from tests.furnace_papers import PROCEDURE_PAPER, figures_of

SURVEY, TEST, RECORDER = (
    CheckKind.UNIFORMITY_SURVEY,
    CheckKind.ACCURACY_TEST,
    CheckKind.RECORDER_CALIBRATION,
)
ZONE = {
    "length_mm": Decimal("16000"),
    "width_mm": Decimal("4000"),
    "x_mm": Decimal(0),
    "y_mm": Decimal(0),
}
PROCEDURE = procedure_from_json(PROCEDURE_PAPER)


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param("150\tU1\t0\t0\t148.6\t151,4\n150\tU2\t100\t0\t149\t150.90", id="tabs"),
        pytest.param("150; U1; 0; 0; 148,6; 151,4;\n150;U2;100;0;149;150,90;", id="semicolons"),
        pytest.param("150 U1 0 0 148.6 151.4\n\n150   U2 100 0 149 150.90\n", id="spaces"),
        pytest.param(
            "Set\tStation\tAlong\tAcross\tLowest\tHighest\n"
            "150\tU1\t0\t0\t148.6\t151.4\r\n150\tU2\t100\t0\t149\t150.90",
            id="with-headings-and-carriage-returns",
        ),
    ],
)
def test_a_survey_is_read_however_its_cells_are_parted(lines: str) -> None:
    paper = figures_from_lines(SURVEY, lines, ZONE)
    (at,) = paper["temperatures"]
    assert at["set_c"] == "150"
    assert [
        (one["station"], one["x_mm"], one["lowest_c"], one["highest_c"]) for one in at["sensors"]
    ] == [("U1", "0", "148.6", "151.4"), ("U2", "100", "149", "150.90")]
    assert survey_of(paper).zone.area_m2 == 64


def test_set_temperatures_are_gathered_whatever_the_order_of_lines() -> None:
    lines = "200 U1 0 0 199 201\n100 U1 0 0 99 101\n200 U2 9 9 199 201 -0.4"
    paper = figures_from_lines(SURVEY, lines, ZONE)
    assert [(at["set_c"], len(at["sensors"])) for at in paper["temperatures"]] == [
        ("100", 1),
        ("200", 2),
    ]
    assert paper["temperatures"][1]["sensors"][1]["correction_c"] == "-0.4"


def test_a_survey_sensor_that_failed_has_dashes_and_no_temperatures() -> None:
    paper = figures_from_lines(SURVEY, "150 U1 0 0 - -\n150 U2 0 9 149 151", ZONE)
    failed = paper["temperatures"][0]["sensors"][0]
    assert (failed["lowest_c"], failed["highest_c"]) == (None, None)
    assert survey_of(paper).temperatures[0].results[0].lowest_c is None


def test_a_recorders_points_are_in_degrees_or_millivolts() -> None:
    lines = "TC1 100.0 C 100.3\nTC1 4.096 mV K 99.8\nTC2 3,096 mv k 25 100,1"
    points = figures_from_lines(RECORDER, lines, None)["points"]
    assert [(one["applied"], one["unit"], one["type"], one["reference_c"]) for one in points] == [
        ("100.0", "degC", None, None),
        ("4.096", "mV", "K", None),
        ("3.096", "mV", "K", "25"),
    ]
    assert [one["indicated_c"] for one in points] == ["100.3", "99.8", "100.1"]


@pytest.mark.parametrize(
    ("kind", "lines", "says"),
    [
        (SURVEY, "", "Type or paste the report's figures"),
        (SURVEY, "set station along across lowest highest", "Type or paste"),
        (SURVEY, "150 U1 0 0 148", "Line 1: 5 cells were found and set temperature, station"),
        (SURVEY, "150 U1 0 0 148 151\n150 U2 0 0 148 warm", "Line 2: highest: 'warm' is not"),
        (SURVEY, "150 U1 0 0 - 151", "Line 1: lowest: '-' is not a number"),
        (SURVEY, "150 U1 0 0 148 151 0.1 9", "Line 1: 8 cells"),
        (SURVEY, "150;;0;0;148;151", "Line 1: the station has 1 to 40"),
        (SURVEY, "150 U1 0 0 1e2 151", "lowest: '1e2' is not a number"),
        (SURVEY, "150 U1 0 0 148 151\n" * 401, "more than 400 lines"),
        (TEST, "TC1 150.0", "Line 1: 2 cells were found and channel, test instrument, indicated"),
        (TEST, "TC1 150.0 nan", "indicated: 'nan' is not a number"),
        (RECORDER, "TC1 100 F 100", "Line 1: the unit 'F' is neither C nor mV"),
        (RECORDER, "TC1 4.1 mV Q 100", "'Q' is no thermocouple type"),
        (RECORDER, "TC1 4.1 mV 100", "Line 1: 4 cells"),
        (RECORDER, "TC1 4.1 C K 100", "Line 1: 5 cells"),
    ],
)
def test_a_line_that_cannot_be_read_is_named_with_its_cell(
    kind: CheckKind, lines: str, says: str
) -> None:
    with pytest.raises(Refusal) as refused:
        figures_from_lines(kind, lines, ZONE)
    assert says in refused.value.sentence
    assert refused.value.fields == {"figures": refused.value.sentence}


def test_a_survey_without_its_zone_is_refused_at_the_zone() -> None:
    with pytest.raises(Refusal) as refused:
        figures_from_lines(SURVEY, "150 U1 0 0 148 151", None)
    assert list(refused.value.fields) == ["zone_length_mm"]


@pytest.mark.parametrize("kind", list(CheckKind))
def test_the_makers_figures_conform_and_pass(kind: CheckKind) -> None:
    from app.equipment.records import FurnaceCheckKind  # noqa: PLC0415

    figures = figures_of(FurnaceCheckKind(kind.value))
    findings = judge_figures(kind, figures, PROCEDURE, furnace_class="1")
    assert worst(findings).value == "conforms"
    assert outcome_by_figures(findings, stated_passed=True)


def test_millivolts_are_judged_as_the_temperature_they_stand_for() -> None:
    """4.096 mV of type K is 100 degC: NIST ITS-90 table for type K (from memory)."""
    figures = figures_from_lines(RECORDER, "TC1 4.096 mV K 101.0\nTC2 4.096 mV K 101.1", None)
    findings = judge_figures(RECORDER, figures, PROCEDURE, furnace_class="1")
    assert [one.outcome.value for one in findings] == ["conforms", "does_not_conform"]


@pytest.mark.parametrize(
    ("outcome", "says"),
    [
        (Outcome.DOES_NOT_CONFORM, "The figures contradict a pass: Too hot."),
        (Outcome.NOT_PROVEN, "The figures do not prove a pass: Too hot."),
    ],
)
def test_a_stated_pass_that_the_figures_do_not_show_is_refused(outcome: Outcome, says: str) -> None:
    findings = [Finding("a", Outcome.CONFORMS, "Fine."), Finding("b", outcome, "Too hot.")]
    with pytest.raises(Refusal) as refused:
        outcome_by_figures(findings, stated_passed=True)
    assert refused.value.sentence.startswith(says)
    assert list(refused.value.fields) == ["outcome"]
    assert not outcome_by_figures(findings, stated_passed=False)


def test_a_stated_failure_stands_though_the_figures_are_within_limits() -> None:
    assert not outcome_by_figures([Finding("a", Outcome.CONFORMS, "Fine.")], stated_passed=False)


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        (b"%PDF-1.7\n...", "application/pdf"),
        (b"\xff\xd8\xff\xe0....", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n....", "image/png"),
    ],
)
def test_a_file_is_what_it_begins_like(content: bytes, media_type: str) -> None:
    assert media_type_of(SentFile("report.exe", content)) == media_type


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "the file is empty"),
        (b"MZ\x90\x00", "begins like neither a PDF, a JPEG nor a PNG"),
        (b"<html>%PDF-", "begins like neither"),
        (b"%PDF-" + bytes(LARGEST_REPORT_BYTES), "at most 12 MB are taken"),
    ],
)
def test_another_file_is_refused_whatever_its_name_says(content: bytes, says: str) -> None:
    with pytest.raises(Refusal, match=says) as refused:
        media_type_of(SentFile("report.pdf", content))
    assert list(refused.value.fields) == ["file"]
