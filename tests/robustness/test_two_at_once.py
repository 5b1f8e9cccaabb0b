"""Two people, and eight, at one thing at once: one decision stands, and nobody's work is lost."""

import threading
from collections.abc import Callable
from contextlib import ExitStack
from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import func, select

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.bench import service as bench_service
from app.bench.records import Reading
from app.bench.service import ReadingsTaken
from app.database import Database
from app.errors import Conflict, Refusal
from app.panels.records import Hold
from app.people import queries as people
from app.people.rights import Role
from app.release import service
from app.release.records import Decision
from app.release.rules.facts import DecisionKind
from tests.bench.bench_makers import ZONE, Bench
from tests.makers import Shop
from tests.release.evidence_rows import LATER, Evidence, case
from tests.release.nonconformance_makers import approved
from tests.speed.pages_served import papers_for_long
from tests.speed.serving import Caller, Server, form_of
from tests.visits import PASSWORD, words

UTC = ZoneInfo("UTC")


def at_once(*acts: Callable[[], object]) -> list[BaseException | None]:
    """Do all acts at the same moment, each in a thread; what each raised, in their order."""
    gate = threading.Barrier(len(acts))
    ends: list[BaseException | None] = [None] * len(acts)

    def take_part(place: int, act: Callable[[], object]) -> None:
        gate.wait(timeout=30)
        try:
            act()
        except BaseException as raised:  # noqa: BLE001 - told to the test's own thread
            ends[place] = raised

    threads = [
        threading.Thread(target=take_part, args=(place, act)) for place, act in enumerate(acts)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
        assert not thread.is_alive(), "two decisions wait for each other"
    return ends


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


def _people(evidence: Evidence, number: int, role: Role) -> list[Actor]:
    """More people of a role."""
    with evidence.database.write() as session:
        return [
            evidence.shop._person(session, f"more{n}", f"Person {n}", role)  # noqa: SLF001 - a maker
            for n in range(1, number + 1)
        ]


def _decisions(evidence: Evidence) -> list[Decision]:
    with evidence.database.read() as session:
        return list(session.scalars(select(Decision).order_by(Decision.id)))


@pytest.mark.parametrize("number", [2, 8])
def test_of_several_releases_at_once_one_stands_and_the_others_are_told_whose(
    evidence: Evidence, number: int
) -> None:
    _, panel, _ = evidence.ready()
    inspectors = _people(evidence, number, Role.INSPECTOR)
    seen = case(evidence.database, panel).seen
    ends = at_once(
        *(
            lambda by=by: service.release_panel(
                evidence.database,
                panel.code,
                seen=seen,
                password=PASSWORD,
                by=by,
                at=LATER,
                zone=UTC,
            )
            for by in inspectors
        )
    )
    (decision,) = _decisions(evidence)
    winner = next(by for by in inspectors if by.id == decision.decided_by_id)
    for by, raised in zip(inspectors, ends, strict=True):
        if by is winner:
            assert raised is None
        else:
            assert isinstance(raised, Conflict)
            assert winner.full_name in raised.sentence
            assert LATER.strftime("%Y-%m-%d %H:%M") in raised.sentence


@pytest.mark.parametrize("number", [2, 8])
def test_of_several_dispositions_at_once_one_stands(evidence: Evidence, number: int) -> None:
    _, panel, _ = evidence.ready()
    service.place_hold(
        evidence.database, panel.code, reason="A scratch.", by=evidence.shop.engineer, at=LATER
    )
    approved(evidence.database, panel, DecisionKind.USE_AS_IS)
    supervisors = _people(evidence, number, Role.SUPERVISOR)
    seen = case(evidence.database, panel).seen
    kinds = (DecisionKind.USE_AS_IS, DecisionKind.NO_DEPARTURE)
    ends = at_once(
        *(
            lambda by=by, kind=kinds[place % 2]: service.lift_hold(
                evidence.database,
                panel.code,
                disposition=kind,
                reason="Reviewed with metallurgy.",
                seen=seen,
                password=PASSWORD,
                by=by,
                at=LATER,
                zone=UTC,
            )
            for place, by in enumerate(supervisors)
        )
    )
    (decision,) = _decisions(evidence)
    assert len([raised for raised in ends if raised is None]) == 1
    winner = next(by for by in supervisors if by.id == decision.decided_by_id)
    for raised in ends:
        if raised is not None:
            assert isinstance(raised, Conflict)
            assert winner.full_name in raised.sentence
            assert decision.kind.value in raised.sentence


def test_a_release_and_a_hold_at_once_leave_the_panel_held(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    seen = case(evidence.database, panel).seen
    ends = at_once(
        lambda: service.release_panel(
            evidence.database,
            panel.code,
            seen=seen,
            password=PASSWORD,
            by=evidence.shop.second,
            at=LATER,
            zone=UTC,
        ),
        lambda: service.place_hold(
            evidence.database, panel.code, reason="A dent.", by=evidence.shop.engineer, at=LATER
        ),
    )
    assert ends[1] is None, "a hold is never lost"
    assert ends[0] is None or isinstance(ends[0], Refusal)
    assert len(_decisions(evidence)) == (ends[0] is None)
    assert case(evidence.database, panel).standing.value == "held"


def test_eight_holds_at_once_are_all_kept(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    reasons = [f"reason {n}" for n in range(8)]
    ends = at_once(
        *(
            lambda reason=reason: service.place_hold(
                evidence.database, panel.code, reason=reason, by=evidence.shop.second, at=LATER
            )
            for reason in reasons
        )
    )
    assert ends == [None] * 8
    with evidence.database.read() as session:
        assert sorted(session.scalars(select(Hold.reason))) == reasons


def test_eight_threads_of_ten_readings_lose_nothing(database: Database) -> None:
    bench = Bench(database)
    sessions = {"HT-1": bench.shop.inspector, "CM-1": bench.shop.second}
    numbers = {tester: bench.open(tester, by) for tester, by in sessions.items()}
    coupons = bench.coupons(80)
    at = bench.at + timedelta(minutes=1)

    def read_ten(place: int) -> None:
        tester = ("HT-1", "CM-1")[place % 2]
        hard = tester == "HT-1"
        for coupon in coupons[place * 10 : place * 10 + 10]:
            taken = ReadingsTaken(
                coupon.code,
                tuple(map(Decimal, ("84.5", "85.0", "85.5") if hard else ("39.0", "39.1", "38.9"))),
                submission=f"form-of-{coupon.code}",
                coupon_c=None if hard else Decimal("21.0"),
                block_c=None if hard else Decimal("20.5"),
                spacing_confirmed=hard,
            )
            bench_service.record_readings(
                database, taken, session_id=numbers[tester], by=sessions[tester], at=at, zone=ZONE
            )

    ends = at_once(*(lambda place=place: read_ten(place) for place in range(8)))
    assert ends == [None] * 8
    with database.read() as session:
        told = session.execute(select(Reading.coupon_id, func.count()).group_by(Reading.coupon_id))
        assert sorted(map(tuple, told)) == [(coupon.id, 3) for coupon in coupons]
        entries = session.scalars(select(TrailEntry.number).order_by(TrailEntry.number)).all()
    assert list(entries) == list(range(1, len(entries) + 1))


def test_over_http_the_slower_of_two_releases_reads_who_decided(sqlite_url: str) -> None:
    database = Database(sqlite_url)
    evidence = Evidence(database, Shop(database))
    papers_for_long(database, evidence.shop)
    _, panel, _ = evidence.ready()
    _people(evidence, 2, Role.INSPECTOR)
    release = f"/panels/{panel.code}/release"
    answers = {}

    def decide(caller: Caller, username: str, form: dict[str, str]) -> None:
        answers[username] = caller.send(release, form | {"password": PASSWORD})

    with Server(sqlite_url) as server, ExitStack() as callers:
        acts = []
        for username in ("more1", "more2"):
            caller = callers.enter_context(Caller(server.port))
            caller.sign_in(username)
            form = form_of(caller.get(f"/panels/{panel.code}/decision").text, release)
            acts.append(lambda c=caller, u=username, f=form: decide(c, u, f))
        assert at_once(*acts) == [None, None]
    assert sorted(answer.status for answer in answers.values()) == [303, 409]
    (decision,) = _decisions(evidence)
    told = next(words(answer.text) for answer in answers.values() if answer.status == 409)
    with database.read() as session:
        names = people.names(session)
    assert f"{names[decision.decided_by_id]} decided on {panel.code}" in told
    database.close()
