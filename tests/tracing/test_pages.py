"""Dossier, decision, Today, lists, trail and finding over HTTP, on both databases."""

import re
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event

from app.bench.records import BenchSession, CheckMoment
from app.database import Database
from app.panels.records import Custody, Panel
from app.release import service
from app.release.rules.facts import DecisionKind
from tests.makers import NOW, Shop, bind
from tests.release.evidence_rows import LATER, Evidence, case, finding
from tests.release.nonconformance_makers import approved
from tests.visits import PASSWORD, Visit, words

LISBON = ZoneInfo("Europe/Lisbon")
"""Where the tests' application stands."""


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


def _hold(evidence: Evidence, panel: Panel) -> None:
    service.place_hold(
        evidence.database,
        panel.code,
        reason="A scratch near the edge.",
        by=evidence.shop.engineer,
        at=LATER,
    )


def _queries(visit: Visit, address: str) -> int:
    """How many statements the page needs when it is asked for a second time."""
    assert visit.get(address).status_code == 200
    return _count(visit, address)


def _count(visit: Visit, address: str) -> int:
    """How many statements the page needs."""
    engine = visit.client.app.state.database.engine  # type: ignore[attr-defined]
    told: list[str] = []

    def note(*args: Any) -> None:
        told.append(args[2])

    event.listen(engine, "before_cursor_execute", note)
    try:
        answer = visit.get(address)
    finally:
        event.remove(engine, "before_cursor_execute", note)
    assert answer.status_code == 200
    return sum(not statement.startswith("BEGIN") for statement in told)


def test_an_inspector_reads_the_dossier_and_releases(evidence: Evidence, visit: Visit) -> None:
    _, panel, _ = evidence.ready()
    visit.sign_in("deniz")
    dossier = visit.get(f"/panels/{panel.code}")
    assert dossier.status_code == 200
    assert "ready to decide" in dossier.text
    assert f'href="/panels/{panel.code}/decision">Release {panel.code}</a>' in dossier.text
    page = visit.get(f"/panels/{panel.code}/decision")
    seen = re.search(r'name="seen" value="([^"]+)"', page.text)
    assert seen is not None
    answer = visit.post(f"/panels/{panel.code}/release", seen=seen[1], password=PASSWORD)
    after = visit.follow(answer)
    assert f"{panel.code} is released." in after.text
    told = words(after.text)
    assert "Decision 1: released" in told
    assert "Deniz Okoro" in told
    assert "I have read the evidence and release this panel" in told


def test_the_dossier_answers_what_was_measured_with_what_by_whom(
    evidence: Evidence, visit: Visit
) -> None:
    load, panel, coupons = evidence.ready()
    visit.sign_in("olek")
    page = visit.get(f"/panels/{panel.code}").text
    for address in (
        f"/loads/{load.code}",
        f"/coupons/{coupons[0].code}",
        "/testers/HT-1",
        "/blocks/RB-HT-1",
        "/tables/AT-1?revision=A#entry-1",
        "/cycles/CY-1",
        "/furnaces/FN-1",
        "/lots/LOT-1",
        "/trail?by=mara",
        f"/sensors/TC-{load.code}-1",
        f"/trail?identity={panel.code}",
    ):
        assert f'href="{address}"' in page, address
    assert f'src="/loads/{load.code}/record.svg"' in page
    told = words(page)
    assert "85.2 HRB" in told
    assert "85.0 &gt;= 83.0" in told
    assert "An inspector decides next." in told


def test_a_held_panel_says_why_in_plain_words(evidence: Evidence, visit: Visit) -> None:
    load, panel, _ = evidence.ready(record=False)
    with evidence.database.write() as session:
        evidence.record(
            session,
            load,
            "does_not_conform",
            finding("does_not_conform", "TC1 was above the band for four minutes."),
        )
    visit.sign_in("mara")
    told = words(visit.get(f"/panels/{panel.code}").text)
    assert "Its evidence holds it." in told
    assert "TC1 was above the band for four minutes." in told
    refused = visit.post(f"/panels/{panel.code}/release", seen="0-x", password=PASSWORD)
    assert refused.status_code == 409


def test_replaced_and_voided_readings_stay_visible_struck_through(
    evidence: Evidence, visit: Visit
) -> None:
    _, panel, coupons = evidence.ready(verdicts=False)
    with evidence.database.write() as session:
        readings = evidence.measured(session, coupons)
        request = evidence.void_asked(session, readings[0], evidence.shop.inspector.id)
        evidence.void_answered(session, request, evidence.shop.supervisor.id)
    visit.sign_in("mara")
    page = visit.get(f"/panels/{panel.code}").text
    assert "<s>85.2 HRB</s>" in page
    assert "voided: indenter or probe slipped" in page


def test_a_changed_evidence_is_told_line_by_line(evidence: Evidence, visit: Visit) -> None:
    _, panel, coupons = evidence.ready()
    service.release_panel(
        evidence.database,
        panel.code,
        seen=case(evidence.database, panel).seen,
        password=PASSWORD,
        by=evidence.shop.second,
        at=LATER,
        zone=NOW.tzinfo,
    )
    with evidence.database.write() as session:
        evidence.verdict(session, coupons[0], "does_not_conform", text="Hardness 80.1 HRB.")
    visit.sign_in("mara")
    told = words(visit.get(f"/panels/{panel.code}").text)
    assert "The signature of decision 1 has fallen" in told
    assert "The signature has fallen: what it covered was changed since." in told
    assert "Hardness 80.1 HRB." in told


def test_the_inspector_who_measured_is_told_why_another_decides(
    evidence: Evidence, visit: Visit
) -> None:
    _, panel, _ = evidence.ready()
    visit.sign_in("mara")
    page = visit.get(f"/panels/{panel.code}/decision")
    assert "another inspector decides" in page.text
    assert f'action="/panels/{panel.code}/release"' not in page.text
    seen = case(evidence.database, panel).seen
    refused = visit.post(f"/panels/{panel.code}/release", seen=seen, password=PASSWORD)
    assert refused.status_code == 403


def test_a_refused_disposition_keeps_what_was_typed_but_no_password(
    evidence: Evidence, visit: Visit
) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    visit.sign_in("ines")
    refused = visit.post(
        f"/panels/{panel.code}/lift",
        seen=case(evidence.database, panel).seen,
        disposition="use as is",
        reason="too short",
        password=PASSWORD,
    )
    assert refused.status_code == 422
    assert "too short</textarea>" in refused.text
    assert 'value="use as is" checked' in refused.text
    assert PASSWORD not in refused.text
    assert "10 signs" in refused.text


def test_a_supervisor_lifts_a_hold_with_a_disposition(evidence: Evidence, visit: Visit) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    code = approved(evidence.database, panel, DecisionKind.USE_AS_IS, zone=LISBON)
    visit.sign_in("ines")
    answer = visit.post(
        f"/panels/{panel.code}/lift",
        seen=case(evidence.database, panel).seen,
        disposition="use as is",
        reason="Blended out within the drawing's depth.",
        password=PASSWORD,
    )
    told = words(visit.follow(answer).text)
    assert f"Released by use as is under {code}." in told
    assert "Decision 1: use as is" in told
    assert "Blended out" in told


@pytest.mark.parametrize(
    ("username", "act", "fields"),
    [
        ("ines", "release", {"seen": "0-x", "password": PASSWORD}),
        (
            "mara",
            "lift",
            {
                "seen": "0-x",
                "password": PASSWORD,
                "disposition": "scrap",
                "reason": "A long enough reason.",
            },
        ),
    ],
)
def test_a_wrong_role_is_refused_and_nothing_is_recorded(
    evidence: Evidence, visit: Visit, username: str, act: str, fields: dict[str, str]
) -> None:
    _, panel, _ = evidence.ready()
    before = case(evidence.database, panel)
    visit.sign_in(username)
    assert visit.post(f"/panels/{panel.code}/{act}", **fields).status_code == 403
    assert case(evidence.database, panel) == before


def test_anybody_holds_a_panel_from_its_page(evidence: Evidence, visit: Visit) -> None:
    _, panel, _ = evidence.ready()
    visit.sign_in("tomas")
    empty = visit.post(f"/panels/{panel.code}/hold", reason=" ")
    assert empty.status_code == 422
    told = visit.follow(visit.post(f"/panels/{panel.code}/hold", reason="Dent at the edge"))
    assert "Tomas Brandl put it on hold: Dent at the edge." in words(told.text)


@pytest.mark.parametrize(
    "address", ["/panels/P-NONE", "/panels/P-NONE/decision", "/trail/999999", "/trail/x"]
)
def test_what_is_not_on_record_is_not_found(evidence: Evidence, visit: Visit, address: str) -> None:
    visit.sign_in("mara")
    assert visit.get(address).status_code == 404


def test_today_gives_each_role_what_waits_for_it(evidence: Evidence, visit: Visit) -> None:
    shop = evidence.shop
    _, ready, _ = evidence.ready()
    _, held, _ = evidence.ready()
    _hold(evidence, held)
    no_record, _, _ = evidence.ready(record=False, unwrapping=False, verdicts=False)
    wrapped, _, _ = evidence.ready(unwrapping=False, recovered=False, verdicts=False)
    _, _, unmeasured = evidence.ready(verdicts=False)
    with evidence.database.write() as session:
        opened = BenchSession(
            tester_id=shop.hardness_tester_id, operator_id=shop.inspector.id, opened_at=NOW
        )
        bind(session, opened)
        bind(session, evidence.check(opened.id, CheckMoment.OPENING, shop.inspector.id))
        reading = evidence.measured(session, unmeasured[:1], "not_proven")[0]
        evidence.void_asked(session, reading, shop.inspector.id)
    visit.sign_in("deniz")
    told = visit.get("/").text
    assert f'href="/panels/{ready.code}/decision"' in told
    assert f'href="/loads/{no_record.code}/record"' in told
    assert f'href="/loads/{wrapped.code}/unwrapping"' in told
    assert f"Coupons to measure: {unmeasured[0].code}, {unmeasured[1].code}." in told
    assert f'href="/bench/sessions/{opened_id(evidence)}"' in told
    assert held.code not in told
    visit.sign_in("mara")
    told = visit.get("/").text
    assert f'href="/panels/{ready.code}/decision"' not in told
    assert f"{ready.code} is ready to decide, by another inspector" in told
    visit.sign_in("ines")
    told = words(visit.get("/").text)
    assert "On hold: A scratch near the edge." in told
    assert "Mara Quill asks to void a reading: indenter or probe slipped." in told
    visit.sign_in("olek")
    assert 'href="/trail/check"' in visit.get("/").text
    visit.sign_in("rune")
    assert "6 accounts can sign in; 0 of them hold no role." in visit.get("/").text


def opened_id(evidence: Evidence) -> int:
    """The id of the only bench session without a closing check."""
    from app.tracing.queries.waiting import open_sessions  # noqa: PLC0415

    with evidence.database.read() as session:
        (row,) = open_sessions(session)
    key: int = row.id
    return key


def test_an_engineer_sees_papers_due_and_overdue_first(evidence: Evidence, visit: Visit) -> None:
    visit.sign_in("tomas")
    told = words(visit.get("/").text)
    # The invented certificates ran out long before any day on which these tests run.
    assert "The uniformity survey of furnace FN-1: overdue since 2026-05-01." in told
    assert told.count("urgent") >= 3


def test_panels_are_listed_with_their_standing_and_narrowed_by_it(
    evidence: Evidence, visit: Visit
) -> None:
    _, ready, _ = evidence.ready()
    _, held, _ = evidence.ready()
    _hold(evidence, held)
    visit.sign_in("olek")
    everything = visit.get("/panels").text
    assert ready.code in everything
    assert held.code in everything
    narrowed = visit.get("/panels?standing=held").text
    assert held.code in narrowed
    assert ready.code not in narrowed
    assert visit.get("/panels?standing=nonsense&before=x").status_code == 200


def test_the_panel_list_goes_on_where_it_ended(evidence: Evidence, visit: Visit) -> None:
    with evidence.database.write() as session:
        codes = [evidence.shop.panel(session).code for _ in range(30)]
    visit.sign_in("olek")
    first = visit.get("/panels").text
    shown = re.findall(r'href="/panels/(P-\d+)"', first)
    onward = re.search(r'href="(/panels\?before=\d+)"', first)
    assert onward is not None
    rest = re.findall(r'href="/panels/(P-\d+)"', visit.get(onward[1]).text)
    assert shown + rest == codes[::-1]


@pytest.mark.parametrize("address", ["/panels", "/panels?standing=ready+to+decide", "/"])
def test_twice_the_panels_need_no_more_queries(
    evidence: Evidence, visit: Visit, address: str
) -> None:
    for _ in range(3):
        evidence.ready()
    visit.sign_in("deniz")
    few = _queries(visit, address)
    for _ in range(3):
        evidence.ready()
    assert _queries(visit, address) == few


def test_the_dossier_needs_at_most_forty_five_queries(evidence: Evidence, visit: Visit) -> None:
    _, panel, _ = evidence.ready()
    visit.sign_in("deniz")
    first = _count(visit, f"/panels/{panel.code}")
    assert 10 < first <= 45
    # Nothing was done since: only who asks, what they may do today, and the trail's head.
    assert _count(visit, f"/panels/{panel.code}") == 3


def test_a_dossier_shows_an_act_at_once(evidence: Evidence, visit: Visit) -> None:
    _, panel, _ = evidence.ready()
    visit.sign_in("deniz")
    address = f"/panels/{panel.code}"
    assert "ready to decide" in visit.get(address).text
    _hold(evidence, panel)
    assert "ready to decide" not in visit.get(address).text


def test_an_identity_with_a_stroke_in_it_has_its_pages(evidence: Evidence, visit: Visit) -> None:
    with evidence.database.write() as session:
        evidence.shop.panel(session, "W/22-L")
    visit.sign_in("deniz")
    found = visit.get("/find?q=w/22-l")
    assert "W/22-L" in visit.follow(found).text
    assert "Decision on panel" in visit.get("/panels/W%2F22-L/decision").text


@pytest.mark.parametrize(
    ("typed", "leads_to"),
    [
        ("p-0001", "/panels/P-0001"),
        ("  P-0001\r\n", "/panels/P-0001"),
        ("]d2P-0001", "/panels/P-0001"),
        ("*P-0001*", "/panels/P-0001"),
        ("c-0001-1", "/coupons/C-0001-1"),
        ("L-0001", "/loads/L-0001"),
        ("FN-1", "/furnaces/FN-1"),
        ("HT-1", "/testers/HT-1"),
        ("RB-HT-1", "/blocks/RB-HT-1"),
        ("LOT-1", "/lots/LOT-1"),
        ("AT-1", "/tables/AT-1"),
        ("CY-1", "/cycles/CY-1"),
        ("TC-L-0001-1", "/sensors/TC-L-0001-1"),
    ],
)
def test_an_identity_leads_straight_to_its_page(
    evidence: Evidence, visit: Visit, typed: str, leads_to: str
) -> None:
    evidence.shop.panel_in_load()
    visit.sign_in("olek")
    answer = visit.client.get("/find", params={"q": typed})
    assert (answer.status_code, answer.headers["location"]) == (303, leads_to)


def test_the_first_signs_of_an_identity_list_what_begins_so(
    evidence: Evidence, visit: Visit
) -> None:
    evidence.shop.panel_in_load()
    visit.sign_in("olek")
    told = visit.get("/find?q=c-0001").text
    assert "C-0001-1" in told
    assert "C-0001-2" in told
    assert "Nothing on record has the identity" in visit.get("/find?q=ZZZ").text
    assert visit.get("/find?q=%25").status_code == 200
    assert visit.get("/find").status_code == 200


def test_the_trail_is_narrowed_by_person_act_identity_and_day(
    evidence: Evidence, visit: Visit
) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    visit.sign_in("olek")
    told = visit.get(f"/trail?by=tomas&act=release:hold:placed&identity={panel.code.lower()}").text
    assert told.count('<time datetime="') == 1
    assert "A scratch near the edge." in told
    day = LATER.date().isoformat()
    assert "A scratch" in visit.get(f"/trail?since={day}&until={day}&by=tomas").text
    assert "No entry fits." in visit.get("/trail?by=tomas&until=2026-03-04").text
    refused = visit.get("/trail?since=31.03.2026")
    assert refused.status_code == 422
    assert "is not a day" in refused.text
    assert 'value="31.03.2026"' in refused.text


def test_the_trail_goes_on_where_it_ended_without_repeating(
    evidence: Evidence, visit: Visit
) -> None:
    with evidence.database.write() as session:
        coupon = evidence.shop.coupon(session, "C-LONG")
        for _ in range(60):
            evidence.shop.custody(session, coupon, Custody.SHELVED)
    visit.sign_in("olek")
    numbers: list[str] = []
    address: str | None = "/trail?identity=C-LONG"
    while address:
        page = visit.get(address).text
        numbers += re.findall(r'href="/trail/(\d+)"', page)
        onward = re.search(r'href="(/trail\?[^"]*before=\d+)"', page)
        address = onward[1].replace("&amp;", "&") if onward else None
    assert len(numbers) == len(set(numbers)) == 62


def test_an_entry_shows_its_rows_and_hash(evidence: Evidence, visit: Visit) -> None:
    visit.sign_in("olek")
    told = words(visit.get("/trail/1").text)
    assert "person 1" in told
    assert "0" * 64 in told
    assert "SHA-256" in told


def test_the_check_recomputes_the_trail_and_shows_its_head(
    evidence: Evidence, visit: Visit
) -> None:
    visit.sign_in("olek")
    told = visit.get("/trail/check").text
    assert "The trail holds" in told
    assert re.search(r"<code>[0-9a-f]{64}</code>", told)
