"""To what a furnace is kept, its checks with figures, work on it, and a second person's review."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from app.audit.actor import Actor
from app.database import Database
from app.equipment import queries, service
from app.equipment.queries import Subject, SubjectKind
from app.equipment.records import FurnaceCheck, FurnaceCheckKind, ReportFile
from app.equipment.rules import DueState
from app.equipment.rules.reports import SentFile
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.furnace.procedure import CheckKind
from app.people.queries import acts_about
from tests.furnace_papers import accuracy_figures, figures_of, survey_figures
from tests.makers import NOW, Shop
from tests.visits import PASSWORD

SURVEY = FurnaceCheckKind.UNIFORMITY_SURVEY
TODAY = NOW.date()
PDF = SentFile("survey.pdf", b"%PDF-1.7 invented")


def _report(**changed: Any) -> service.Report:
    given: dict[str, Any] = {
        "kind": SURVEY,
        "term": service.Term(TODAY),
        "passed": True,
        "number": "R-8",
        "figures": survey_figures(),
        **changed,
    }
    return service.Report(**given)


def _record(database: Database, by: Actor, **changed: Any) -> int:
    return service.record_furnace_check(
        database, furnace="FN-1", report=_report(**changed), by=by, at=NOW
    )


def _review(database: Database, subject: Subject, by: Actor, **changed: Any) -> None:
    given: dict[str, Any] = {"accepted": True, "remark": "", "password": PASSWORD, **changed}
    service.review_report(database, subject, by=by, at=NOW, **given)


def _check(key: int) -> Subject:
    return Subject(SubjectKind.FURNACE_CHECK, key)


def _qualify(database: Database, by: Actor, **changed: Any) -> int:
    given: dict[str, Any] = {
        "furnace": "FN-1",
        "procedure": "PY-T",
        "furnace_class": "2",
        "instrumentation_type": "d",
        "in_force_from": TODAY,
        "note": "",
        **changed,
    }
    return service.qualify_furnace(database, by=by, at=NOW, **given)


def _dues(database: Database, shop: Shop, **later: Any) -> Any:
    with database.read() as session:
        at = NOW + timedelta(**later)
        return queries.dues_of_furnaces(session, [shop.furnace_id], at=at)[shop.furnace_id]


def test_a_survey_with_figures_is_judged_dated_and_waits_for_review(database: Database) -> None:
    shop = Shop(database)
    key = _record(database, shop.engineer, file=PDF)
    with database.read() as session:
        kept = session.get_one(FurnaceCheck, key)
        assert (kept.made_to_class, kept.made_to_type, kept.passed) == ("1", "B", True)
        # PY-T: every three months, the due day counts.
        assert kept.due_on == date(2026, 6, 2)
        assert kept.interval is not None
        assert kept.interval["every"] == "3 months"
        assert kept.results == survey_figures()
        waiting = queries.waiting_reports(session)
        assert [(one.subject, one.words) for one in waiting] == [
            (_check(key), "uniformity survey R-8 of FN-1")
        ]
        file = queries.report_file(session, str(kept.report_sha256))
        assert (file.media_type, file.content) == ("application/pdf", PDF.content)
    # The older survey still counts: nobody has accepted the new one.
    assert _dues(database, shop)[CheckKind.UNIFORMITY_SURVEY].words == "in date until 2026-05-01"
    _review(database, _check(key), shop.supervisor, remark="figures agree")
    assert _dues(database, shop)[CheckKind.UNIFORMITY_SURVEY].words == "in date until 2026-06-02"
    with database.read() as session:
        acts = acts_about(session, "furnace", "FN-1")
    assert (acts[0].person, acts[0].act) == ("Ines Valcourt", "report reviewed")
    assert acts[0].note == "uniformity survey R-8 of FN-1 accepted"


@pytest.mark.parametrize(
    ("done_on", "due_on"),
    [
        pytest.param(date(2025, 11, 29), date(2026, 2, 28), id="day-29-in-a-common-february"),
        pytest.param(date(2025, 11, 30), date(2026, 2, 28), id="day-30-in-a-common-february"),
        pytest.param(date(2023, 11, 30), date(2024, 2, 29), id="day-30-in-a-leap-february"),
        pytest.param(date(2024, 2, 29), date(2024, 5, 29), id="from-a-leap-day"),
        pytest.param(date(2025, 8, 31), date(2025, 11, 30), id="to-a-month-of-30-days"),
        pytest.param(date(2025, 12, 31), date(2026, 3, 31), id="over-the-year"),
    ],
)
def test_the_last_day_follows_the_procedures_calendar(
    database: Database, done_on: date, due_on: date
) -> None:
    """Three months on, the month's last day where it has no such day: the judging rules, 4.5.2."""
    shop = Shop(database)
    key = _record(database, shop.engineer, term=service.Term(done_on))
    with database.read() as session:
        assert session.get_one(FurnaceCheck, key).due_on == due_on
    with pytest.raises(Refusal, match="asks for one every 3 months") as refused:
        _record(database, shop.engineer, term=service.Term(done_on, due_on + timedelta(days=1)))
    assert list(refused.value.fields) == ["due_on"]
    _record(database, shop.engineer, term=service.Term(done_on, due_on - timedelta(days=1)))


def test_a_stated_pass_is_never_believed_against_the_figures(database: Database) -> None:
    shop = Shop(database)
    # The limit is stated in whole degrees, and 3.6 rounds to 4.
    hot = survey_figures(off="3.6")
    with pytest.raises(Refusal, match="The figures contradict a pass: At 100 degC") as refused:
        _record(database, shop.engineer, figures=hot)
    assert list(refused.value.fields) == ["outcome"]
    with pytest.raises(Refusal, match="Say what failed"):
        _record(database, shop.engineer, figures=hot, passed=False)
    key = _record(database, shop.engineer, figures=hot, passed=False, note="corner too hot")
    with database.read() as session:
        assert session.get_one(FurnaceCheck, key).passed is False


def test_too_few_survey_sensors_prove_no_pass(database: Database) -> None:
    shop = Shop(database)
    few = survey_figures()
    for at in few["temperatures"]:
        del at["sensors"][5]
    with pytest.raises(Refusal, match="do not prove a pass: Only 8 sensors"):
        _record(database, shop.engineer, figures=few)


def test_a_reading_at_its_limit_passes_and_beyond_it_does_not(database: Database) -> None:
    """PY-T permits 1.5 degC either way, included."""
    shop = Shop(database)
    kind = FurnaceCheckKind.ACCURACY_TEST
    _record(database, shop.engineer, kind=kind, figures=accuracy_figures("-1.5"))
    with pytest.raises(Refusal, match=r"beyond the permitted 1\.5"):
        _record(database, shop.engineer, kind=kind, figures=accuracy_figures("1.6"))


def test_figures_need_a_procedure_that_governs_the_furnace(database: Database) -> None:
    shop = Shop(database)
    service.register_furnace(
        database,
        code="FN-9",
        name="Nine",
        furnace_class=1,
        uniformity_c=Decimal(3),
        instrumentation_type="B",
        by=shop.engineer,
        at=NOW,
    )
    with pytest.raises(Refusal, match="enter its qualification"):
        service.record_furnace_check(
            database,
            furnace="FN-9",
            report=_report(term=service.Term(TODAY, TODAY)),
            by=shop.engineer,
            at=NOW,
        )
    bare = _report(figures=None)
    with pytest.raises(Refusal, match="Give the last day it holds"):
        service.record_furnace_check(
            database, furnace="FN-9", report=bare, by=shop.engineer, at=NOW
        )
    bare = _report(figures=None, term=service.Term(TODAY, TODAY))
    key = service.record_furnace_check(
        database, furnace="FN-9", report=bare, by=shop.engineer, at=NOW
    )
    with database.read() as session:
        kept = session.get_one(FurnaceCheck, key)
        assert (kept.results, kept.made_to_class, kept.interval) == (None, None, None)


def test_a_bare_check_of_a_kept_furnace_holds_no_longer_than_its_interval(
    database: Database,
) -> None:
    shop = Shop(database)
    late = service.Term(TODAY, date(2026, 6, 3))
    with pytest.raises(Refusal, match="it holds until 2026-06-02 at most"):
        _record(database, shop.engineer, figures=None, term=late)
    key = _record(database, shop.engineer, figures=None, term=service.Term(TODAY, TODAY))
    with database.read() as session:
        assert session.get_one(FurnaceCheck, key).made_to_class == "1"


def test_one_file_for_two_reports_is_kept_once(database: Database) -> None:
    shop = Shop(database)
    _record(database, shop.engineer, file=PDF)
    _record(database, shop.engineer, file=SentFile("again.pdf", PDF.content))
    with database.read() as session:
        assert session.query(ReportFile).count() == 1
    with pytest.raises(Refusal, match="neither a PDF"):
        _record(database, shop.engineer, file=SentFile("a.pdf", b"MZ"))


def test_nobody_reviews_what_they_entered_themselves(database: Database) -> None:
    shop = Shop(database)
    key = _record(database, shop.engineer)
    with pytest.raises(NotAllowed, match="You entered the uniformity survey R-8"):
        _review(database, _check(key), shop.engineer)
    for name in ("inspector", "auditor", "administrator"):
        with pytest.raises(NotAllowed, match="Only a supervisor or engineer may"):
            _review(database, _check(key), getattr(shop, name))
    with pytest.raises(Refusal, match="the password is not yours"):
        _review(database, _check(key), shop.supervisor, password="wrong")
    _review(database, _check(key), shop.supervisor)
    with pytest.raises(Conflict, match="Ines Valcourt has accepted"):
        _review(database, _check(key), shop.supervisor)


def test_a_rejection_says_why_and_the_report_counts_for_nothing(database: Database) -> None:
    shop = Shop(database)
    key = _record(database, shop.engineer)
    with pytest.raises(Refusal, match="Say why") as refused:
        _review(database, _check(key), shop.supervisor, accepted=False, remark="too bad")
    assert list(refused.value.fields) == ["remark"]
    _review(database, _check(key), shop.supervisor, accepted=False, remark="stations mixed up")
    assert _dues(database, shop)[CheckKind.UNIFORMITY_SURVEY].words == "in date until 2026-05-01"
    with database.read() as session:
        assert queries.waiting_reports(session) == []
        report = queries.report(session, _check(key))
        assert report.review is not None
        assert report.review.remark == "stations mixed up"


def test_a_report_that_is_not_there_is_not_found(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(NotFound, match="No furnace check of that number"):
        _review(database, _check(999), shop.supervisor)


def test_certificates_of_sensors_and_gauges_wait_for_review_too(database: Database) -> None:
    shop = Shop(database)
    service.register_sensor(database, code="TC-9", thermocouple_type="K", by=shop.engineer, at=NOW)
    sensor = service.record_sensor_certificate(
        database,
        sensor="TC-9",
        term=service.Term(TODAY),
        certificate="SC-9",
        corrections="",
        by=shop.engineer,
        at=NOW,
    )
    service.register_gauge(database, code="VG-9", name="Nine", by=shop.engineer, at=NOW)
    gauge = service.record_gauge_certificate(
        database,
        gauge="VG-9",
        term=service.Term(TODAY),
        certificate="GC-9",
        largest_error_kpa=Decimal("0.4"),
        by=shop.engineer,
        at=NOW,
    )
    with database.read() as session:
        assert [one.words for one in queries.waiting_reports(session)] == [
            "certificate GC-9 of VG-9",
            "certificate SC-9 of TC-9",
        ]
        key = queries.gauge(session, "VG-9").id
        assert queries.dues_of_gauges(session, [key], at=NOW)[key].state is DueState.WAITING
    _review(database, Subject(SubjectKind.SENSOR_CERTIFICATE, sensor), shop.supervisor)
    _review(database, Subject(SubjectKind.GAUGE_CERTIFICATE, gauge), shop.supervisor)
    with database.read() as session:
        assert queries.waiting_reports(session) == []
        # PY-T: a gauge every twelve months.
        due = queries.dues_of_gauges(session, [key], at=NOW)[key]
        assert due.words == "in date until 2027-03-02"


def test_a_certificate_longer_than_the_procedure_allows_is_refused(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal, match="PY-T revision A says how often a vacuum gauge"):
        service.record_gauge_certificate(
            database,
            gauge="VG-1",
            term=service.Term(TODAY, date(2027, 3, 3)),
            certificate="GC-2",
            largest_error_kpa=None,
            by=shop.engineer,
            at=NOW,
        )
    with pytest.raises(Refusal, match="without a sign"):
        service.record_gauge_certificate(
            database,
            gauge="VG-1",
            term=service.Term(TODAY),
            certificate="GC-2",
            largest_error_kpa=Decimal(-1),
            by=shop.engineer,
            at=NOW,
        )


def test_a_furnace_is_kept_to_another_class_once_that_is_accepted(database: Database) -> None:
    shop = Shop(database)
    key = _qualify(database, shop.engineer)
    with database.read() as session:
        kept = queries.furnace_file(session, shop.furnace_id).qualification(TODAY)
        assert kept is not None
        assert kept.furnace_class == "1"
    _review(database, Subject(SubjectKind.QUALIFICATION, key), shop.supervisor)
    with database.read() as session:
        file = queries.furnace_file(session, shop.furnace_id)
        now, before = file.qualification(TODAY), file.qualification(TODAY - timedelta(days=1))
        assert now is not None
        assert before is not None
        assert (now.furnace_class, now.instrumentation_type) == ("2", "D")
        assert before.furnace_class == "1"
    # The survey was made to class 1, type B: it proves nothing of class 2, type D.
    assert _dues(database, shop)[CheckKind.UNIFORMITY_SURVEY].state is DueState.NOT_PROVEN


@pytest.mark.parametrize(
    ("changed", "field", "says"),
    [
        ({"procedure": "PY-9"}, "procedure", "No verified revision of a pyrometry procedure"),
        ({"furnace_class": "5"}, "furnace_class", "has no class 5; choose one of 1, 2"),
        ({"instrumentation_type": "Q"}, "instrumentation_type", "choose one of B, D"),
    ],
)
def test_a_furnace_is_kept_to_nothing_the_procedure_does_not_know(
    database: Database, changed: dict[str, str], field: str, says: str
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal, match=says) as refused:
        _qualify(database, shop.engineer, **changed)
    assert list(refused.value.fields) == [field]


def _work(database: Database, by: Actor, **changed: Any) -> None:
    given: dict[str, Any] = {
        "event": "door seal changed",
        "happened_on": TODAY,
        "asks_for": (),
        "note": "",
        **changed,
    }
    service.record_maintenance(database, furnace="FN-1", by=by, at=NOW, **given)


def test_work_asks_for_the_checks_of_the_procedure_until_one_is_made(database: Database) -> None:
    shop = Shop(database)
    _work(database, shop.inspector)
    dues = _dues(database, shop)
    survey = dues[CheckKind.UNIFORMITY_SURVEY]
    assert survey.state is DueState.ASKED_FOR
    assert survey.words == "asked for since 2026-03-02: door seal changed"
    assert dues[CheckKind.ACCURACY_TEST].is_in_date
    key = _record(database, shop.engineer)
    assert _dues(database, shop)[CheckKind.UNIFORMITY_SURVEY].state is DueState.ASKED_FOR
    _review(database, _check(key), shop.supervisor)
    assert _dues(database, shop)[CheckKind.UNIFORMITY_SURVEY].is_in_date


def test_work_may_ask_for_more_than_the_procedure_and_never_for_less(database: Database) -> None:
    shop = Shop(database)
    _work(database, shop.engineer, asks_for=[FurnaceCheckKind.ACCURACY_TEST])
    _work(database, shop.engineer, event="Fan bent", asks_for=[])
    with database.read() as session:
        found = queries.maintenance_events(session, shop.furnace_id)
    assert [(one.event, one.asks_for) for one in found] == [
        ("Fan bent", []),
        ("door seal changed", ["uniformity survey", "system accuracy test"]),
    ]
    with pytest.raises(Refusal, match="still to come"):
        _work(database, shop.engineer, happened_on=TODAY + timedelta(days=1))


@pytest.mark.parametrize("person", ["auditor", "administrator"])
def test_who_does_no_work_records_none(database: Database, person: str) -> None:
    shop = Shop(database)
    with pytest.raises(NotAllowed, match="record work on a furnace"):
        _work(database, getattr(shop, person))


def test_the_board_lists_what_needs_somebody_most_urgent_first(database: Database) -> None:
    shop = Shop(database)
    with database.write() as session:
        shop.gauge(session, "VG-2", done_on=date(2025, 1, 1), due_on=date(2026, 1, 1))
        shop.sensor(session, "TC-S", done_on=date(2025, 9, 20), due_on=date(2026, 3, 20))
    _work(database, shop.engineer)

    def board(**later: int) -> list[tuple[str, str, str]]:
        with database.read() as session:
            lines = queries.due_board(session, at=NOW + timedelta(**later))
        return [(line.code, line.paper, line.due.state.value) for line in lines]

    assert board() == [
        ("VG-2", "certificate", "overdue"),
        ("FN-1", "uniformity survey", "asked for"),
        ("TC-S", "certificate", "due soon"),
    ]
    # PY-T warns 21 days ahead, and the checks hold until 1 May.
    assert ("FN-1", "recorder calibration", "due soon") not in board(days=38)
    assert ("FN-1", "recorder calibration", "due soon") in board(days=39)
    assert ("FN-1", "recorder calibration", "overdue") in board(days=61)


def test_the_board_asks_as_often_however_much_equipment_there_is(database: Database) -> None:
    from sqlalchemy import event  # noqa: PLC0415

    shop = Shop(database)

    def statements() -> int:
        sent: list[str] = []

        def note(_c: Any, _k: Any, statement: str, *_rest: Any) -> None:
            sent.append(statement)

        event.listen(database.engine, "before_cursor_execute", note)
        with database.read() as session:
            queries.due_board(session, at=NOW)
        event.remove(database.engine, "before_cursor_execute", note)
        return len(sent)

    few = statements()
    with database.write() as session:
        for number in range(12):
            shop.gauge(session, f"VG-1{number}")
            shop.sensor(session, f"TC-1{number}", done_on=date(2026, 1, 1), due_on=date(2026, 7, 1))
    assert statements() == few


@pytest.mark.parametrize("kind", list(FurnaceCheckKind))
def test_looking_at_figures_records_nothing(database: Database, kind: FurnaceCheckKind) -> None:
    Shop(database)
    report = _report(kind=kind, figures=figures_of(kind))
    with database.read() as session:
        furnace = queries.furnace(session, "FN-1")
        findings, last = service.look_at_report(session, furnace, report, at=NOW)
        assert {one.outcome.value for one in findings} <= {"conforms", "note"}
        assert last == date(2026, 6, 2)
        assert len(queries.furnace_checks(session, furnace.id)) == 3


def test_a_fault_while_the_review_is_kept_leaves_nothing(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.equipment.service import reviews  # noqa: PLC0415

    shop = Shop(database)
    key = _record(database, shop.engineer)

    def broken(*_: object, **__: object) -> Callable[[], None]:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(reviews, "append", broken)
    with pytest.raises(RuntimeError, match="disk is full"):
        _review(database, _check(key), shop.supervisor)
    with database.read() as session:
        assert [one.subject for one in queries.waiting_reports(session)] == [_check(key)]
