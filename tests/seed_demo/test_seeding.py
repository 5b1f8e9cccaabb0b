"""The filled demonstration: everything stands where its story says, and every page of it opens."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from sqlalchemy import func, select

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.bench.queries import latest_coupon_verdicts
from app.bench.records import (
    Reading,
    VoidAnswer,
    VoidRequest,
)
from app.database import Database
from app.errors import NotAllowed
from app.loads import queries as loads
from app.panels.records import Coupon, Panel, Place, Whereabouts
from app.people import queries as accounts
from app.people.records import AuthorisationEnd
from app.release.queries.decisions import misstated
from app.release.queries.panel_facts import panel_facts
from app.release.records import (
    CorrectiveAction,
    CorrectiveActionCheck,
    Decision,
    DispositionProposal,
    Nonconformance,
    ProposalAnswer,
)
from app.release.rules.facts import DecisionKind
from app.release.rules.standing import Standing, standing_of
from app.release.service import case_of, why_not_release
from app.requirements.queries import named, revisions
from app.requirements.records import RequirementKind, SecondKeying
from app.settings import Settings
from app.tracing.queries.what_if import what_if
from app.trail.records import TrailReview, TreeHead
from seed_demo.diary import DemoShop
from seed_demo.load_plan import LOTS, PanelEnd
from seed_demo.scenario import (
    BALL_TESTER,
    FURNACES,
    PEOPLE,
    SECOND_METER,
    SHOP_ZONE,
    TESTERS,
    THERMOMETER,
)
from seed_demo.scenario_corrections import CORRECTIONS
from seed_demo.scenario_decided import (
    COMPOSED_TABLE,
    CONFIRMED_ON,
    EXTRA_TABLE,
    LEFT_IN_RACK,
    PIECES,
    REFUSED_ON,
    WAITING_ON,
)
from seed_demo.scenario_equipment import sensors_of
from seed_demo.scenario_loads import (
    LOADS,
    SLIP_ON,
    VOID_ASKED_ON,
)
from seed_demo.scenario_papers import CYCLES, MISREAD, TABLES
from seed_demo.seeding import enter_all
from seed_demo.seeding_bench import coupons_of
from seed_demo.seeding_plans import TO_COME, WAITING
from seed_demo.seeding_shop import PASSWORD
from seed_demo.seeding_trail import FIRST_HEAD
from seed_demo.waiting_files import write_waiting_files
from tests.speed.serving import form_of
from tests.visits import Visit, words

STANDS = {
    PanelEnd.RELEASED: Standing.RELEASED,
    PanelEnd.HELD: Standing.HELD,
    PanelEnd.USE_AS_IS: Standing.USE_AS_IS,
    PanelEnd.IN_REWORK: Standing.IN_FURNACE,
    PanelEnd.REWORKED: Standing.RELEASED,
    PanelEnd.SCRAPPED: Standing.SCRAPPED,
    PanelEnd.RECALLED: Standing.RECALLED,
    PanelEnd.DIVIDED: Standing.REPLACED,
    PanelEnd.AWAITING_BENCH: Standing.AWAITING_COUPONS,
    PanelEnd.AWAITING_YIELD: Standing.AWAITING_COUPONS,
    PanelEnd.AWAITING_RECORD: Standing.IN_FURNACE,
    PanelEnd.AWAITING_DECISION: Standing.READY,
    PanelEnd.IN_FURNACE: Standing.IN_FURNACE,
    PanelEnd.PLANNED: Standing.PLANNED,
    PanelEnd.WAITING: Standing.REGISTERED,
}


def test_every_panel_stands_where_its_story_ends(filled: Database, settings: Settings) -> None:
    with filled.read() as session:
        ids = session.scalars(select(Panel.id)).all()
        facts = panel_facts(session, ids, zone=settings.zone)
    found = {one.code: standing_of(one) for one in facts.values()}
    panels = [panel for load in LOADS for panel in load.panels]
    told = {panel.number: STANDS[panel.ends] for panel in (*panels, *TO_COME, *WAITING)}
    assert found == told | dict.fromkeys(PIECES, Standing.READY)


def test_every_record_and_coupon_has_the_verdict_its_story_tells(filled: Database) -> None:
    verdicts, coupons = {}, {}
    with filled.read() as session:
        ids = {row.code: row.id for row in session.execute(select(Coupon.id, Coupon.code))}
        latest = latest_coupon_verdicts(session, list(ids.values()))
        for load in LOADS:
            record = loads.current_record(session, loads.load(session, load.number).id)
            verdict = None if record is None else loads.latest_verdict(session, record.id)
            verdicts[load.number] = None if verdict is None else verdict.verdict
            for panel, coupon in coupons_of(load):
                code = panel.coupon_code(coupon)
                row = latest.get(ids[code])
                coupons[code] = None if row is None else row.verdict
    assert verdicts == {load.number: load.record if load.imported else None for load in LOADS}
    assert coupons == {
        panel.coupon_code(coupon): coupon.verdict
        for load in LOADS
        for panel, coupon in coupons_of(load)
    }


def test_the_trail_holds_and_reads_in_the_order_of_the_weeks(filled: Database) -> None:
    with filled.read() as session:
        report = verify_trail(session)
        assert report.holds, report.problems
        assert misstated(session) == []
        times = session.scalars(select(TrailEntry.at).order_by(TrailEntry.number)).all()
        acting = set(session.scalars(select(TrailEntry.by)).all())
    assert len(times) > 500
    assert all(earlier <= later for earlier, later in pairwise(times))
    assert times[-1] < datetime.now(UTC) < times[0] + timedelta(days=100)
    assert {"imorrowby", "tashgill", "pquennell", "rhalvarth", "skestle"} < acting


@pytest.mark.parametrize("clock", ["2031-05-20 00:01", "2031-03-31 23:59"])
def test_whenever_it_is_filled_everything_lies_before(clock: str, filled: Database) -> None:
    zone = Settings(time_zone=SHOP_ZONE).zone
    now = datetime.fromisoformat(clock).replace(tzinfo=zone)
    shop = DemoShop(filled, zone, now)
    enter_all(shop)
    assert shop.times[0] > now - timedelta(days=100)
    assert shop.times[-1] <= now


def test_something_is_left_to_do_for_each_role(filled: Database) -> None:
    with filled.read() as session:
        waiting = {
            (one.code, one.revision) for one in revisions(session) if one.verified_at is None
        }
        voids = session.execute(
            select(VoidRequest.id, VoidAnswer.id).outerjoin(
                VoidAnswer, VoidAnswer.request_id == VoidRequest.id
            )
        ).all()
    assert waiting == {("QT-31", "C"), ("KS-2", "B"), ("PY-1", "B"), ("CT-1", "B")}
    assert [answer for _, answer in voids] == [None]
    ends = {panel.ends for load in LOADS for panel in load.panels}
    assert {PanelEnd.AWAITING_DECISION, PanelEnd.HELD, PanelEnd.AWAITING_BENCH} < ends


def test_what_authority_asks_for_is_there_and_something_of_it_waits(filled: Database) -> None:
    """Two keyings of the table that waits, a recall confirmed, an answer and an action due."""
    kind = RequirementKind.ACCEPTANCE_TABLE
    with filled.read() as session:
        by_code = {one.code: one for one in revisions(session)}
        attempts = [
            one.attempt
            for one in named(session, "QT-31", kind=kind, revision="C")
            if one.revision == "C" and one.is_keyed
        ]
        unlike = [found for found in session.scalars(select(SecondKeying.differences)) if found]
        taken_back = session.scalars(select(AuthorisationEnd)).all()
        reviews = session.scalars(select(TrailReview)).all()
        sizes = session.scalars(select(TreeHead.size).order_by(TreeHead.size)).all()
        last = session.scalars(select(func.max(TrailEntry.number))).one()
        refused = session.scalars(
            select(TrailEntry.about_code).where(TrailEntry.tag == Tag.ACT_REFUSED.value)
        ).all()
        proposals = session.execute(
            select(Panel.code, func.count(ProposalAnswer.id))
            .join(Nonconformance, Nonconformance.panel_id == Panel.id)
            .join(
                DispositionProposal,
                DispositionProposal.nonconformance_id == Nonconformance.id,
            )
            .outerjoin(ProposalAnswer, ProposalAnswer.proposal_id == DispositionProposal.id)
            .group_by(Panel.code)
        ).all()
        overdue = session.scalars(
            select(CorrectiveAction.due_on)
            .outerjoin(
                CorrectiveActionCheck, CorrectiveActionCheck.action_id == CorrectiveAction.id
            )
            .where(CorrectiveActionCheck.id.is_(None))
        ).all()
        confirmed = session.scalars(
            select(Panel.code)
            .join(Decision, Decision.panel_id == Panel.id)
            .where(Decision.kind == DecisionKind.CONFIRMED)
        ).all()
        stands = session.execute(
            select(Panel.code, Place.is_quarantine)
            .join(Whereabouts, Whereabouts.panel_id == Panel.id)
            .join(Place, Place.id == Whereabouts.place_id)
        ).all()
    assert by_code[COMPOSED_TABLE].verified_at is not None
    assert by_code[EXTRA_TABLE].verified_at is not None
    assert attempts == [2]
    assert unlike == [[["Entry 1, hardness HRB, minimum", *next(iter(MISREAD.items()))]]]
    assert len(taken_back) == len(reviews) == 1
    assert reviews[0].last_number < last
    assert reviews[0].exceptions > 0
    assert len(sizes) == 3
    assert sizes[0] == FIRST_HEAD
    assert sizes[-1] < last
    assert refused == [REFUSED_ON]
    assert {code: count for code, count in proposals if count < 2} == {WAITING_ON: 1}
    assert [day < datetime.now(UTC).date() for day in overdue] == [True]
    assert confirmed == [CONFIRMED_ON]
    assert (LEFT_IN_RACK, False) in stands


def test_the_revision_that_waits_would_change_verdicts(
    filled: Database, settings: Settings
) -> None:
    with filled.read() as session:
        found = what_if(session, "QT-31", "C", at=datetime.now(UTC), zone=settings.zone)
    changed = {one.code for one in found.coupons if one.changes}
    assert changed == {"TW-1042-B", "TW-1051-B"}


def test_the_panel_that_was_queried_was_cleared_and_then_released(
    filled: Database, settings: Settings
) -> None:
    with filled.read() as session:
        key = session.scalars(select(Panel.id).where(Panel.code == "TW-1045")).one()
        facts = panel_facts(session, [key], zone=settings.zone)[key]
    assert [one.kind for one in facts.decisions] == [
        DecisionKind.NO_DEPARTURE,
        DecisionKind.RELEASED,
    ]
    assert len({one.decided_by_id for one in facts.decisions}) == 2


def test_a_slip_of_the_key_stands_beside_its_correction(filled: Database) -> None:
    with filled.read() as session:
        replaced = session.scalars(
            select(Reading)
            .join(Coupon, Coupon.id == Reading.coupon_id)
            .where(Coupon.code == SLIP_ON, Reading.replaces_id.is_not(None))
        ).all()
    assert len(replaced) == 1
    assert str(replaced[0].reason).startswith("Slip of the key")


def addresses() -> list[str]:
    """Every page of the scenario's things."""
    panels = {panel.number: panel for load in LOADS for panel in load.panels}
    coupons = [panel.coupon_code(coupon) for load in LOADS for panel, coupon in coupons_of(load)]
    return [
        *(f"/panels/{code}" for code in panels),
        *(f"/loads/{load.number}" for load in LOADS),
        *(f"/coupons/{code}" for code in coupons),
        *(f"/lots/{lot.number}" for lot in LOTS),
        *(f"/furnaces/{furnace.code}" for furnace in FURNACES),
        *(f"/sensors/{code}" for code in list(sensors_of("AK1").values())[:2]),
        *(f"/testers/{tester.code}" for tester in (*TESTERS, SECOND_METER, BALL_TESTER)),
        *(f"/corrections/{table.code}" for table in CORRECTIONS),
        *(f"/blocks/{block.code}" for tester in TESTERS for block in tester.blocks),
        f"/thermometers/{THERMOMETER}",
        *(f"/tables/{table.code}" for table in TABLES),
        *(f"/cycles/{cycle.code}" for cycle in CYCLES),
        *("/", "/panels", "/loads", "/lots", "/bench", "/shop", "/trail", "/trail/check"),
    ]


def test_every_page_opens_for_an_auditor(visit: Visit) -> None:
    visit.sign_in("jlindqvane", PASSWORD)
    for address in addresses():
        answer = visit.get(address)
        assert answer.status_code == 200, (address, words(answer.text))


def test_everybody_can_sign_in_and_sees_what_waits(visit: Visit) -> None:
    for person in PEOPLE:
        visit.sign_in(person.sign_in, PASSWORD)
        answer = visit.get("/")
        assert answer.status_code == 200
        assert person.name in words(answer.text)


def test_the_supervisor_sees_the_void_that_waits(visit: Visit) -> None:
    visit.sign_in("rhalvarth", PASSWORD)
    assert VOID_ASKED_ON in words(visit.get("/").text)


def test_the_panel_that_waits_is_for_somebody_who_took_no_reading(
    filled: Database, settings: Settings
) -> None:
    with filled.read() as session:
        key = session.scalars(select(Panel.id).where(Panel.code == "TW-1064")).one()
        case = case_of(panel_facts(session, [key], zone=settings.zone, in_full=True)[key])
        today = datetime.now(settings.zone).date()
        people = {
            name: accounts.actor(session, name, today=today) for name in ("tashgill", "imorrowby")
        }
    assert why_not_release(case, people["tashgill"]) is None
    assert isinstance(why_not_release(case, people["imorrowby"]), NotAllowed)


def test_a_visitor_brings_in_the_file_that_waits(visit: Visit, tmp_path: Path) -> None:
    csv = write_waiting_files(tmp_path, datetime.now(UTC))[0]
    visit.sign_in("tashgill", PASSWORD)
    with csv.open("rb") as content:
        taken = visit.post("/loads/L-211/record", files={"file": (csv.name, content, "text/csv")})
    preview = visit.follow(taken)
    assert preview.status_code == 200
    keep = "/loads/L-211/record/keep"
    kept = visit.post(keep, **form_of(preview.text, keep))
    assert "L-211.csv is kept; it conforms" in words(visit.follow(kept).text)


def test_the_waiting_files_name_what_waits(tmp_path: Path) -> None:
    now = datetime(2031, 5, 20, 9, 30, tzinfo=UTC)
    files = write_waiting_files(tmp_path, now)
    assert [path.name for path in files] == [
        "L-211.csv",
        "L-211-hall.csv",
        "L-211-hall-1.csv",
        "L-211-hall-2.csv",
        "L-211.xlsx",
        "bench-slip.txt",
    ]
    header, first = files[0].read_text().splitlines()[:2]
    assert header == "time,TC1,TC2,TC3,TC4,TC5,TC6,TC7,TC8,AIR1,AIR2,VAC"
    assert first.startswith("2031-05-18T06:00:00+00:00,")
    slip = files[-1].read_text()
    times_named = {code: slip.count(code) for code in ("TW-1071-A", "TW-1062-A", "TW-1066-B")}
    assert times_named == {"TW-1071-A": 2, "TW-1062-A": 1, "TW-1066-B": 2}
