"""Studies of a tester, on both databases: opened, measured blind, closed or given up."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import event, func, select

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.bench import records
from app.bench.queries import running_sessions
from app.bench.queries import studies as queries
from app.bench.queries.in_sessions import session_files
from app.bench.records import StudyReading
from app.bench.rules.study_order import Piece, order_of
from app.bench.rules.study_result import study_result
from app.bench.service import studies as service
from app.bench.service.studies import StudyFigure, StudyWanted
from app.equipment.service import place_quarantine
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.witness.repeatability import Trial, analyse
from app.people.rights import Role
from tests.bench.bench_makers import ZONE, Bench
from tests.visits import Visit, words

PARTS = ("P1", "P2", "P3")
VALUES = {
    ("mara", "P1"): ("80.1", "80.3"),
    ("mara", "P2"): ("84.0", "84.1"),
    ("mara", "P3"): ("88.2", "88.2"),
    ("deniz", "P1"): ("80.4", "80.4"),
    ("deniz", "P2"): ("84.3", "84.1"),
    ("deniz", "P3"): ("88.6", "88.5"),
}


def _wanted(bench: Bench, **changed: Any) -> StudyWanted:
    given: dict[str, Any] = {
        "tester_code": "HT-1",
        "purpose": "yearly study of the tester",
        "parts": PARTS,
        "operators": (bench.shop.inspector.id, bench.shop.second.id),
        "trials": 2,
    }
    return StudyWanted(**(given | changed))


def _open(bench: Bench, by: Actor | None = None, **changed: Any) -> int:
    return service.open_study(
        bench.database,
        _wanted(bench, **changed),
        by=by or bench.shop.engineer,
        at=bench.tick(),
        zone=ZONE,
    )


def _take(bench: Bench, number: int, piece: Piece, value: str, by: Actor) -> bool:
    taken = StudyFigure(number, piece, Decimal(value))
    return service.record_study_reading(bench.database, taken, by=by, at=bench.tick(), zone=ZONE)


def _order(number: int, by: Actor) -> tuple[Piece, ...]:
    return order_of(number, by.id, PARTS, 2)


def _measure(bench: Bench, number: int, by: Actor, *, most: int = 99) -> None:
    for piece in _order(number, by)[:most]:
        _take(bench, number, piece, VALUES[by.username, piece.part][piece.trial - 1], by)


def _measured(bench: Bench) -> int:
    number = _open(bench)
    _measure(bench, number, bench.shop.inspector)
    _measure(bench, number, bench.shop.second)
    return number


def _close(bench: Bench, number: int, by: Actor | None = None) -> None:
    service.close_study(
        bench.database,
        study_id=number,
        remark="",
        by=by or bench.shop.engineer,
        at=bench.tick(),
    )


def _study(bench: Bench, number: int) -> queries.StudyAtWork:
    with bench.database.read() as session:
        return queries.study(session, number)


def _repeatability(bench: Bench, at: Any = None) -> Decimal | None:
    """What a session of the tester has by then; the session is opened when it is first asked."""
    with bench.database.read() as session:
        running = [one.id for one in running_sessions(session) if one.tester == "HT-1"]
    number = running[0] if running else bench.open()
    with bench.database.read() as session:
        study = session_files(session, [number])[number].study_at(at or bench.at)
    return None if study is None else study.deviation


def test_a_study_is_measured_and_closed_with_its_repeatability(bench: Bench) -> None:
    number = _measured(bench)
    assert _repeatability(bench) is None
    _close(bench, number)
    found = _study(bench, number)
    assert found.ended is not None
    assert found.ended.result is not None
    trials = [
        Trial(who, part, Decimal(value))
        for (who, part), values in VALUES.items()
        for value in values
    ]
    study = analyse(trials)
    assert found.ended.result == study_result(study, unit="HRB", resolution=Decimal("0.1"))
    assert study.pooled
    # By hand: within the six pairs half of 0.2, 0.1, 0, 0, 0.2 and 0.1 squared, 0.0500 at 6 degrees
    # of freedom; the operators' means differ by 0.20, 0.15 and 0.35, whose squares about 0.23 are
    # 0.02167 at 2. Together 0.07167 / 8, and its root.
    assert _repeatability(bench) == Decimal("0.0946485")


def test_the_latest_closed_study_counts_and_only_from_its_closing_on(bench: Bench) -> None:
    _close(bench, _measured(bench))
    closed_at = bench.at
    first = _repeatability(bench)
    assert first is not None
    number = _open(bench)
    for by in (bench.shop.inspector, bench.shop.second):
        for piece in _order(number, by):
            _take(bench, number, piece, f"8{piece.part[1]}.{4 * piece.trial}", by)
    assert _repeatability(bench) == first
    _close(bench, number)
    assert _repeatability(bench) != first
    assert _repeatability(bench, closed_at) == first
    assert _repeatability(bench, closed_at - timedelta(seconds=1)) is None


def test_scatter_finer_than_the_display_counts_as_its_step(bench: Bench) -> None:
    number = _open(bench)
    for by in (bench.shop.inspector, bench.shop.second):
        for piece in _order(number, by):
            _take(bench, number, piece, f"8{piece.part[1]}.0", by)
    _close(bench, number)
    # 0.1 / sqrt(12) = 0.0288675...
    assert _repeatability(bench) == Decimal("0.0288675")
    ended = _study(bench, number).ended
    assert ended is not None
    assert ended.result is not None
    assert [one["code"] for one in ended.result["notes"]] == ["study.share", "study.resolution"]


def test_every_operator_has_an_order_of_their_own_and_each_round_holds_every_part() -> None:
    parts = [f"P{number}" for number in range(1, 11)]
    orders = [order_of(1, who, parts, 3) for who in (1, 2)]
    assert orders[0] != orders[1]
    assert order_of(1, 1, parts, 3) == orders[0]
    for order in orders:
        rounds = [order[start : start + 10] for start in (0, 10, 20)]
        assert [{piece.part for piece in one} for one in rounds] == [set(parts)] * 3
        assert [{piece.trial for piece in one} for one in rounds] == [{1}, {2}, {3}]
        assert len({tuple(piece.part for piece in one) for one in rounds}) == 3


def test_the_order_of_a_study_never_changes() -> None:
    """Kept from the program's own output: an order drawn anew would let a piece be skipped."""
    frozen_order = [("P1", 1), ("P3", 1), ("P2", 1), ("P1", 2), ("P2", 2), ("P3", 2)]
    assert [(one.part, one.trial) for one in order_of(7, 3, PARTS, 2)] == frozen_order


def test_a_piece_is_neither_skipped_nor_taken_again(bench: Bench) -> None:
    number, by = _open(bench), bench.shop.inspector
    order = _order(number, by)
    with pytest.raises(Conflict, match=f"Part {order[0].part} comes next"):
        _take(bench, number, order[1], "80.0", by)
    assert _take(bench, number, order[0], "80.0", by)
    assert not _take(bench, number, order[0], "80.0", by)
    with pytest.raises(Conflict, match="was recorded already"):
        _take(bench, number, order[0], "80.1", by)
    with bench.database.read() as session:
        assert session.scalar(select(func.count(StudyReading.id))) == 1


def test_whoever_is_done_measures_no_more(bench: Bench) -> None:
    number = _open(bench)
    _measure(bench, number, bench.shop.inspector)
    with pytest.raises(Conflict, match="taken all 6 readings"):
        _take(bench, number, Piece("P1", 3), "80.0", bench.shop.inspector)


def test_only_its_operators_measure_in_a_study(bench: Bench) -> None:
    number = _open(bench)
    with pytest.raises(NotAllowed, match="Mara Quill, Deniz Okoro"):
        _take(bench, number, Piece("P1", 1), "80.0", bench.shop.supervisor)
    with pytest.raises(NotAllowed, match="take readings at the bench"):
        _take(bench, number, Piece("P1", 1), "80.0", bench.shop.engineer)


@pytest.mark.parametrize("value", ["0", "-1", "840", "131"])
def test_what_the_scale_cannot_show_is_refused(bench: Bench, value: str) -> None:
    number, by = _open(bench), bench.shop.inspector
    with pytest.raises(Refusal, match="Nothing was recorded") as refused:
        _take(bench, number, _order(number, by)[0], value, by)
    assert set(refused.value.fields) == {"reading_1"}


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"purpose": "short"}, "purpose"),
        ({"parts": ("P1", "P2")}, "parts"),
        ({"parts": tuple(f"P{number}" for number in range(16))}, "parts"),
        ({"parts": ("P1", "p1", "P2")}, "parts"),
        ({"parts": ("P1", "P2", "x" * 41)}, "parts"),
        ({"operators": (1,)}, "operators"),
        ({"operators": (1, 1)}, "operators"),
        ({"operators": (1, 2, 3, 4, 5, 6)}, "operators"),
        ({"operators": (1, 99)}, "operators"),
        ({"trials": 1}, "trials"),
        ({"trials": 6}, "trials"),
    ],
)
def test_a_plan_that_does_not_fit_is_refused_by_its_field(
    bench: Bench, changed: dict[str, Any], field: str
) -> None:
    with pytest.raises(Refusal) as refused:
        _open(bench, **changed)
    assert set(refused.value.fields) == {field}
    with bench.database.read() as session:
        assert session.scalar(select(func.count(records.TesterStudy.id))) == 0


def test_an_engineer_does_not_measure_and_so_is_no_operator(bench: Bench) -> None:
    with pytest.raises(Refusal, match="inspectors and supervisors"):
        _open(bench, operators=(bench.shop.inspector.id, bench.shop.engineer.id))


@pytest.mark.parametrize("role", ["inspector", "auditor", "administrator"])
def test_who_may_not_open_close_or_give_up(bench: Bench, role: str) -> None:
    somebody = getattr(bench.shop, role)
    with pytest.raises(NotAllowed, match="open or close a study"):
        _open(bench, by=somebody)
    number = _measured(bench)
    with pytest.raises(NotAllowed, match="open or close a study"):
        _close(bench, number, by=somebody)
    with pytest.raises(NotAllowed, match="open or close a study"):
        _give_up(bench, number, by=somebody)


def test_a_tester_that_may_not_be_used_is_not_studied(bench: Bench) -> None:
    number = _open(bench)
    place_quarantine(
        bench.database,
        tester="HT-1",
        reason="the anvil is loose",
        by=bench.shop.engineer,
        at=bench.tick(),
    )
    by = bench.shop.inspector
    with pytest.raises(Refusal, match="HT-1 may not be used"):
        _take(bench, number, _order(number, by)[0], "80.0", by)
    _give_up(bench, number)
    with pytest.raises(Refusal, match="HT-1 may not be used"):
        _open(bench)
    bench.at = bench.at.replace(year=2028)
    with pytest.raises(Refusal, match="CM-1 may not be used: overdue"):
        _open(bench, tester_code="CM-1")
    with pytest.raises(NotFound):
        _open(bench, tester_code="HT-9")


def _give_up(
    bench: Bench, number: int, reason: str = "part P2 was dropped", by: Actor | None = None
) -> None:
    service.give_up_study(
        bench.database,
        study_id=number,
        reason=reason,
        by=by or bench.shop.engineer,
        at=bench.tick(),
    )


def test_a_tester_has_one_running_study(bench: Bench) -> None:
    number = _open(bench)
    with pytest.raises(Conflict, match=f"Study {number} of HT-1 is running"):
        _open(bench)
    assert _open(bench, tester_code="CM-1") == number + 1
    _give_up(bench, number)
    assert _open(bench) == number + 2


def test_a_study_with_readings_missing_is_not_closed(bench: Bench) -> None:
    number = _open(bench)
    _measure(bench, number, bench.shop.inspector)
    _measure(bench, number, bench.shop.second, most=4)
    with pytest.raises(Refusal, match="Readings are missing: Deniz Okoro 2"):
        _close(bench, number)


def test_a_study_given_up_says_why_and_counts_for_nothing(bench: Bench) -> None:
    number = _measured(bench)
    with pytest.raises(Refusal, match="Say why"):
        _give_up(bench, number, reason="why not")
    _give_up(bench, number)
    assert _repeatability(bench) is None
    ended = _study(bench, number).ended
    assert ended is not None
    assert (ended.result, ended.reason) == (None, "part P2 was dropped")
    with pytest.raises(Conflict, match="has ended"):
        _close(bench, number)
    with pytest.raises(Conflict, match="has ended"):
        _give_up(bench, number)


def test_nothing_is_measured_in_a_study_that_has_ended(bench: Bench) -> None:
    number = _open(bench)
    _give_up(bench, number)
    by = bench.shop.inspector
    with pytest.raises(Conflict, match="has ended; Tomas Brandl ended it"):
        _take(bench, number, _order(number, by)[0], "80.0", by)


def test_every_act_is_on_the_trail_about_the_tester(bench: Bench) -> None:
    _close(bench, _measured(bench))
    with bench.database.read() as session:
        tags = session.scalars(
            select(TrailEntry.tag)
            .where(TrailEntry.tag.startswith("bench:tester_study"), TrailEntry.about_code == "HT-1")
            .order_by(TrailEntry.number)
        ).all()
    measured = ["bench:tester_study:readings_recorded"] * 12
    assert tags == ["bench:tester_study:opened", *measured, "bench:tester_study:closed"]


def _form(bench: Bench, **changed: str) -> dict[str, str]:
    return {
        "tester": "HT-1",
        "purpose": "yearly study of the tester",
        "parts": "P1\nP2\n\nP3\n",
        "trials": "2",
        f"operator_{bench.shop.inspector.id}": "yes",
        f"operator_{bench.shop.second.id}": "yes",
        **changed,
    }


def test_a_study_from_its_form_to_its_result_over_the_pages(bench: Bench, visit: Visit) -> None:
    _in_date_today(bench)
    visit.sign_in("tomas")
    opened = visit.follow(visit.post("/register/study", **_form(bench)))
    assert "Study 1 is open" in opened.text
    assert "Record and go on" not in opened.text
    for username in ("mara", "deniz"):
        visit.sign_in(username)
        assert "You have readings to take" in visit.get("/studies").text
        by = bench.shop.inspector if username == "mara" else bench.shop.second
        for piece in _order(1, by):
            page = visit.get("/studies/1").text
            assert f"<b>{piece.part}</b>" in page
            assert "80." not in words(page)
            assert "88." not in words(page)
            sent = {
                "part": piece.part,
                "trial": str(piece.trial),
                "fields": "1",
                "reading_1": VALUES[username, piece.part][piece.trial - 1].replace(".", ","),
            }
            assert visit.post("/studies/1/readings", **sent).status_code == 303
        assert "taken all 6 of your readings" in visit.get("/studies/1").text
        assert "You have readings to take" not in visit.get("/studies").text
    visit.sign_in("tomas")
    assert "88.2" not in visit.get("/studies/1").text
    page = visit.follow(visit.post("/studies/1/close", remark="nothing stood out")).text
    assert "Repeatability 0.0946485 HRB" in words(page)
    assert "80.1, 80.3" in page
    assert "nothing stood out" in page
    assert "0.0946485 HRB" in visit.get("/studies").text


def _in_date_today(bench: Bench) -> None:
    """The pages read the real clock: a certificate that is in date on any day of these years."""
    with bench.database.write() as session:
        bench.shop.tester_certificate(
            session,
            bench.shop.hardness_tester_id,
            "C-HT-1-long",
            done_on=date(2026, 1, 11),
            due_on=date(2099, 1, 1),
        )


def test_what_was_typed_stays_typed_when_the_plan_is_refused(bench: Bench, visit: Visit) -> None:
    _in_date_today(bench)
    visit.sign_in("tomas")
    answer = visit.post("/register/study", **_form(bench, parts="P1\nP2"))
    assert answer.status_code == 422
    assert "Give 3 to 15 parts" in answer.text
    assert "yearly study of the tester" in answer.text
    assert f'name="operator_{bench.shop.second.id}" value="yes" checked' in answer.text


def test_a_figure_that_is_none_is_told_beside_its_field(bench: Bench, visit: Visit) -> None:
    number = _open(bench)
    _in_date_today(bench)
    visit.sign_in("mara")
    piece = _order(number, bench.shop.inspector)[0]
    for typed in ("8o.1", "840", ""):
        answer = visit.post(
            f"/studies/{number}/readings",
            part=piece.part,
            trial=str(piece.trial),
            fields="1",
            reading_1=typed,
        )
        assert answer.status_code == 422
        assert 'id="f-reading_1-problem"' in answer.text


def test_pages_of_studies_that_nobody_may_see_or_that_are_not_there(
    bench: Bench, visit: Visit
) -> None:
    visit.sign_in("mara")
    assert visit.get("/studies/77").status_code == 404
    assert visit.get("/register/study").status_code == 403
    assert "Open a study" not in visit.get("/studies").text


def test_giving_up_over_the_page_asks_for_a_reason(bench: Bench, visit: Visit) -> None:
    number = _open(bench)
    visit.sign_in("ines")
    refused = visit.post(f"/studies/{number}/give-up", reason="no")
    assert refused.status_code == 422
    assert "Say why the study is given up" in refused.text
    page = visit.follow(visit.post(f"/studies/{number}/give-up", reason="the tester was moved"))
    assert "the tester was moved" in page.text


def test_the_list_asks_no_more_of_the_records_for_more_studies(bench: Bench) -> None:
    def queries_of_the_list() -> int:
        asked: list[str] = []
        with bench.database.read() as session:
            engine = session.get_bind()

            def hear(*told: Any) -> None:
                asked.append(told[2])

            event.listen(engine, "before_cursor_execute", hear)
            queries.studies(session)
            event.remove(engine, "before_cursor_execute", hear)
        return len(asked)

    _give_up(bench, _open(bench))
    one = queries_of_the_list()
    for _ in range(3):
        _give_up(bench, _open(bench))
    assert queries_of_the_list() == one


def test_roles_that_measure_are_those_the_form_offers(bench: Bench, visit: Visit) -> None:
    visit.sign_in("tomas")
    text = visit.get("/register/study?tester=HT-1").text
    assert Role.INSPECTOR in bench.shop.inspector.roles
    for person, offered in ((bench.shop.supervisor, True), (bench.shop.engineer, False)):
        assert (f"operator_{person.id}" in text) is offered
    assert '<option value="HT-1" selected>' in text
