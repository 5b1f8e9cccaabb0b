"""Holds, releases and dispositions, on both databases."""

import threading
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select, text

from app.audit.actor import Actor
from app.audit.records import TrailEntry
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.panels.records import Custody, Decided, Hold, Panel
from app.people.records import Signature
from app.people.rights import Role
from app.release import service
from app.release.queries.decisions import LEAVES, kept_evidence, misstated
from app.release.records import Decision, HoldLift
from app.release.rules.dispositions import DEPARTURES
from app.release.rules.facts import DecisionKind
from app.release.rules.snapshot import differences
from app.release.rules.standing import Standing
from tests.makers import NOW, Shop
from tests.release.evidence_rows import LATER, Evidence, case, finding
from tests.release.nonconformance_makers import approved
from tests.visits import PASSWORD

UTC = ZoneInfo("UTC")
REASON = "Reviewed with metallurgy, see report 12."


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


def _release(evidence: Evidence, panel: Panel, **changed: Any) -> None:
    given = {
        "seen": case(evidence.database, panel).seen,
        "password": PASSWORD,
        "by": evidence.shop.second,
        "at": LATER,
        "zone": UTC,
        **changed,
    }
    service.release_panel(evidence.database, panel.code, **given)


def _lift(evidence: Evidence, panel: Panel, disposition: DecisionKind, **changed: Any) -> None:
    """Dispose of the panel, a departure under an approved proposal."""
    if disposition in DEPARTURES:
        approved(evidence.database, panel, disposition, at=LATER)
    given = {
        "seen": case(evidence.database, panel).seen,
        "reason": REASON,
        "password": PASSWORD,
        "by": evidence.shop.supervisor,
        "at": LATER,
        "zone": UTC,
        **changed,
    }
    service.lift_hold(evidence.database, panel.code, disposition=disposition, **given)


def _hold(evidence: Evidence, panel: Panel, by: Actor | None = None) -> None:
    service.place_hold(
        evidence.database,
        panel.code,
        reason="A scratch near the edge.",
        by=by or evidence.shop.engineer,
        at=LATER,
    )


def _close(evidence: Evidence, panel: Panel, *, stands: bool, by: Actor | None = None) -> None:
    seen = case(evidence.database, panel).seen
    service.close_recalls(
        evidence.database,
        [service.Closing(panel.code, stands, REASON, seen)],
        password=PASSWORD,
        by=by or evidence.shop.supervisor,
        at=LATER,
        zone=UTC,
    )


def _standing(evidence: Evidence, panel: Panel) -> Standing:
    return case(evidence.database, panel).standing


def test_a_panel_whose_every_gate_conforms_is_released_with_its_evidence(
    evidence: Evidence,
) -> None:
    _, panel, _ = evidence.ready()
    before = case(evidence.database, panel)
    assert before.standing is Standing.READY
    _release(evidence, panel)
    after = case(evidence.database, panel)
    assert after.standing is Standing.RELEASED
    with evidence.database.read() as session:
        decision = session.scalars(select(Decision)).one()
        signature = session.get_one(Signature, decision.signature_id)
        entry = session.scalars(select(TrailEntry).order_by(TrailEntry.number.desc())).first()
        assert misstated(session) == []
        kept = kept_evidence(session, panel.id, 1)
    assert (decision.number, decision.kind) == (1, DecisionKind.RELEASED)
    assert {name: kept[name] for name in before.snapshot} == before.snapshot
    assert decision.evidence_sha256 == paper_sha256(kept)
    assert {line["outcome"] for line in kept["hands"]} == {"conforms"}
    assert decision.authorisation_id == evidence.shop.second.authorised["release of panels"]
    assert signature.printed_name == "Deniz Okoro"
    assert service.is_intact(after.facts, 1)
    assert entry is not None
    assert (entry.tag, entry.about_code) == ("release:panel:released", panel.code)


@pytest.mark.parametrize("part", ["leak", "record", "unwrapping", "recovered", "verdicts"])
def test_a_panel_with_evidence_missing_is_not_released(evidence: Evidence, part: str) -> None:
    _, panel, _ = evidence.ready(**{part: False})
    with pytest.raises(Refusal, match="cannot be released"):
        _release(evidence, panel)
    with evidence.database.read() as session:
        assert session.scalars(select(Decision)).all() == []


def test_the_refusal_names_the_gate_and_its_figures(evidence: Evidence) -> None:
    _, panel, coupons = evidence.ready(verdicts=False)
    with evidence.database.write() as session:
        evidence.measured(session, coupons, "does_not_conform")
    with pytest.raises(Refusal, match=r"Coupon C-0001-1.*Hardness 85\.2 HRB"):
        _release(evidence, panel)
    assert _standing(evidence, panel) is Standing.HELD


def test_a_provisional_verdict_releases_nothing(evidence: Evidence) -> None:
    _, panel, coupons = evidence.ready(verdicts=False)
    with evidence.database.write() as session:
        evidence.measured(session, coupons, provisional=True)
    with pytest.raises(Refusal, match="closing check"):
        _release(evidence, panel)
    assert _standing(evidence, panel) is Standing.AWAITING_COUPONS


def test_whoever_took_readings_does_not_release(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    with pytest.raises(NotAllowed, match="You took readings"):
        _release(evidence, panel, by=evidence.shop.inspector)


def test_whoever_asked_for_a_void_does_not_release(evidence: Evidence) -> None:
    _, panel, coupons = evidence.ready(verdicts=False)
    with evidence.database.write() as session:
        readings = evidence.measured(session, coupons)
        request = evidence.void_asked(session, readings[0], evidence.shop.second.id)
    with pytest.raises(Refusal, match="A void has been asked for"):
        _release(evidence, panel)
    with evidence.database.write() as session:
        evidence.void_answered(session, session.merge(request), evidence.shop.supervisor.id)
    with pytest.raises(NotAllowed, match="a void"):
        _release(evidence, panel)


@pytest.mark.parametrize("who", ["supervisor", "engineer", "auditor", "administrator"])
def test_only_an_inspector_releases(evidence: Evidence, who: str) -> None:
    _, panel, _ = evidence.ready()
    with pytest.raises(NotAllowed, match="Only an inspector"):
        _release(evidence, panel, by=getattr(evidence.shop, who))


def test_a_wrong_password_signs_nothing(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    with pytest.raises(Refusal, match="The signature was not made"):
        _release(evidence, panel, password="not the right one")
    assert _standing(evidence, panel) is Standing.READY


def test_a_released_panel_is_not_released_again(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    _release(evidence, panel)
    with pytest.raises(Refusal, match="nothing to release"):
        _release(evidence, panel)


def test_two_people_at_once_one_decision_stands_and_the_other_is_told(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    shop = evidence.shop
    with evidence.database.write() as session:
        third = shop._person(session, "iri", "Iri Fane", Role.INSPECTOR)  # noqa: SLF001
    seen = case(evidence.database, panel).seen
    told: list[Refusal | None] = []
    start = threading.Barrier(2)

    def decide(by: Actor) -> None:
        start.wait()
        try:
            _release(evidence, panel, by=by, seen=seen)
            told.append(None)
        except Conflict as refusal:
            told.append(refusal)

    threads = [threading.Thread(target=decide, args=(by,)) for by in (shop.second, third)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(told) == 2
    refusals = [refusal for refusal in told if refusal is not None]
    assert len(refusals) == 1
    assert "2026-03-05 06:00 UTC while you were reading: released" in refusals[0].sentence
    with evidence.database.read() as session:
        decisions = session.scalars(select(Decision)).all()
    assert len(decisions) == 1
    winner = {shop.second.id: "Deniz Okoro", third.id: "Iri Fane"}[decisions[0].decided_by_id]
    assert refusals[0].sentence.startswith(winner)


def test_evidence_that_moved_since_the_page_was_read_stops_the_decision(
    evidence: Evidence,
) -> None:
    _, panel, coupons = evidence.ready()
    seen = case(evidence.database, panel).seen
    with evidence.database.write() as session:
        evidence.verdict(session, coupons[0], "conforms", inputs="corrected")
    with pytest.raises(Conflict, match="The evidence on P-0001 changed"):
        _release(evidence, panel, seen=seen)


def test_anyone_signed_in_places_a_hold(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    shop = evidence.shop
    everybody = (shop.inspector, shop.supervisor, shop.engineer, shop.administrator, shop.auditor)
    for by in everybody:
        _hold(evidence, panel, by)
    assert len(case(evidence.database, panel).facts.open_holds) == len(everybody)


def test_a_hold_needs_a_reason(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    with pytest.raises(Refusal, match="Say why"):
        service.place_hold(
            evidence.database, panel.code, reason="  ", by=evidence.shop.second, at=LATER
        )


def test_a_hold_on_a_released_panel_recalls_it(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    _release(evidence, panel)
    _hold(evidence, panel)
    assert _standing(evidence, panel) is Standing.RECALLED
    with pytest.raises(Refusal, match="confirmed or withdrawn first"):
        _lift(evidence, panel, DecisionKind.NO_DEPARTURE)
    _close(evidence, panel, stands=False)
    assert _standing(evidence, panel) is Standing.HELD
    _lift(evidence, panel, DecisionKind.NO_DEPARTURE)
    assert _standing(evidence, panel) is Standing.READY
    _release(evidence, panel)
    found = case(evidence.database, panel)
    assert found.standing is Standing.RELEASED
    assert [made.number for made in found.facts.decisions] == [1, 2, 3, 4]
    with evidence.database.read() as session:
        assert misstated(session) == []


def test_one_disposition_lifts_every_open_hold(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    _hold(evidence, panel, evidence.shop.second)
    _lift(evidence, panel, DecisionKind.USE_AS_IS)
    found = case(evidence.database, panel)
    assert found.standing is Standing.USE_AS_IS
    assert [hold.lifted_by_number for hold in found.facts.holds] == [1, 1]
    with evidence.database.read() as session:
        assert len(session.scalars(select(HoldLift)).all()) == 2


def test_evidence_alone_holds_a_panel_and_a_disposition_lifts_it(evidence: Evidence) -> None:
    load, panel, _ = evidence.ready(record=False)
    with evidence.database.write() as session:
        evidence.record(
            session, load, "does_not_conform", finding("does_not_conform", "Four minutes above.")
        )
    assert _standing(evidence, panel) is Standing.HELD
    _lift(evidence, panel, DecisionKind.USE_AS_IS)
    assert _standing(evidence, panel) is Standing.USE_AS_IS
    with evidence.database.read() as session:
        assert session.scalars(select(Hold)).all() == []
        assert misstated(session) == []


@pytest.mark.parametrize("who", ["inspector", "engineer", "auditor", "administrator"])
def test_only_a_supervisor_lifts(evidence: Evidence, who: str) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    with pytest.raises(NotAllowed, match="Only a supervisor"):
        _lift(evidence, panel, DecisionKind.USE_AS_IS, by=getattr(evidence.shop, who))


def test_a_supervisor_who_took_readings_does_not_lift(evidence: Evidence) -> None:
    _, panel, coupons = evidence.ready(verdicts=False)
    with evidence.database.write() as session:
        evidence.measured(session, coupons, by_id=evidence.shop.supervisor.id)
    _hold(evidence, panel)
    with pytest.raises(NotAllowed, match="You recorded readings"):
        _lift(evidence, panel, DecisionKind.USE_AS_IS)


def test_a_supervisor_who_answered_a_void_may_lift(evidence: Evidence) -> None:
    _, panel, coupons = evidence.ready(verdicts=False)
    with evidence.database.write() as session:
        readings = evidence.measured(session, coupons)
        request = evidence.void_asked(session, readings[0], evidence.shop.inspector.id)
        evidence.void_answered(session, request, evidence.shop.supervisor.id)
    _hold(evidence, panel)
    _lift(evidence, panel, DecisionKind.REPAIR)
    assert _standing(evidence, panel) is Standing.REPAIR


def test_a_reason_of_nine_signs_is_too_short_and_ten_are_taken(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    with pytest.raises(Refusal, match="10 signs"):
        _lift(evidence, panel, DecisionKind.SCRAPPED, reason="123456789")
    _lift(evidence, panel, DecisionKind.SCRAPPED, reason="1234567890")
    assert _standing(evidence, panel) is Standing.SCRAPPED


def test_a_release_is_no_disposition(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    with pytest.raises(Refusal, match="an inspector's decision"):
        _lift(evidence, panel, DecisionKind.RELEASED)


def test_no_departure_is_not_found_where_a_gate_departs(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready(leak=False)
    _hold(evidence, panel)
    with pytest.raises(Refusal, match=r"There is a departure.*leak check"):
        _lift(evidence, panel, DecisionKind.NO_DEPARTURE)


def test_there_is_nothing_to_lift_on_a_panel_that_is_not_held(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    with pytest.raises(Refusal, match="no hold to lift"):
        _lift(evidence, panel, DecisionKind.NO_DEPARTURE)


@pytest.mark.parametrize("final", [DecisionKind.SCRAPPED, DecisionKind.RETURNED])
def test_nothing_more_is_decided_after_scrap_or_return(
    evidence: Evidence, final: DecisionKind
) -> None:
    _, panel, _ = evidence.ready()
    _hold(evidence, panel)
    _lift(evidence, panel, final)
    with pytest.raises(Refusal, match="nothing more is decided"):
        _hold(evidence, panel)
    with pytest.raises(Refusal, match="no hold to lift"):
        _lift(evidence, panel, DecisionKind.USE_AS_IS)
    with pytest.raises(Refusal, match="nothing to release"):
        _release(evidence, panel)


def test_after_rework_the_evidence_rests_on_the_new_load_alone(evidence: Evidence) -> None:
    load, panel, _ = evidence.ready(record=False)
    with evidence.database.write() as session:
        evidence.record(session, load, "does_not_conform")
    _lift(evidence, panel, DecisionKind.REWORK)
    assert _standing(evidence, panel) is Standing.REWORK
    again_at = LATER + timedelta(hours=1)
    with evidence.database.write() as session:
        again, coupons = evidence.loaded_again(session, panel, again_at)
    found = case(evidence.database, panel)
    # One treatment is the most this panel may see, so the second one itself holds it.
    assert found.standing is Standing.HELD
    assert {gate.code for gate in found.gates if gate.outcome == "does_not_conform"} == {
        "treatments"
    }
    assert not [gate for gate in found.gates if gate.code.endswith(f".{load.code}")]
    assert [gate for gate in found.gates if gate.code == f"record.{again.code}"]
    assert found.facts.takers == frozenset()
    assert [coupon.code for coupon in found.facts.concerned_coupons] == [c.code for c in coupons]


def test_a_correction_after_release_shows_as_a_difference_and_changes_no_decision(
    evidence: Evidence,
) -> None:
    _, panel, coupons = evidence.ready()
    _release(evidence, panel)
    with evidence.database.write() as session:
        evidence.verdict(session, coupons[0], "does_not_conform", text="Hardness 80.1 HRB.")
        evidence.verdict(session, coupons[1], "conforms", inputs="another reading")
    found = case(evidence.database, panel)
    assert found.standing is Standing.RELEASED
    with evidence.database.read() as session:
        then = kept_evidence(session, panel.id, 1)
    told = differences(then, found.gates)
    assert len(told) == 2
    assert "then: Coupon C-0001-1 at S1 conforms" in told[0]
    assert "Hardness 80.1 HRB." in told[0]
    assert "was corrected since" in told[1]


def test_an_unknown_panel_is_not_found(evidence: Evidence) -> None:
    with pytest.raises(NotFound):
        service.place_hold(
            evidence.database, "P-NONE", reason="why", by=evidence.shop.second, at=NOW
        )


def test_a_missing_coupon_holds_the_panel(evidence: Evidence) -> None:
    _, panel, coupons = evidence.ready(recovered=False, verdicts=False)
    with evidence.database.write() as session:
        evidence.shop.custody(session, coupons[0], Custody.MISSING)
        evidence.shop.custody(session, coupons[1], Custody.RECOVERED)
        evidence.measured(session, coupons[1:])
    assert _standing(evidence, panel) is Standing.HELD
    with pytest.raises(Refusal, match="recorded missing"):
        _release(evidence, panel)


def test_a_listed_decision_that_nobody_made_is_found(evidence: Evidence) -> None:
    _, panel, _ = evidence.ready()
    engine = evidence.database.engine
    with engine.begin() as connection:
        connection.execute(text("UPDATE panel SET decided = 'released'"))
    with evidence.database.read() as session:
        told = misstated(session)
    with engine.begin() as connection:
        connection.execute(text("UPDATE panel SET decided = 'open'"))
    assert told == [
        (
            f"Panel {panel.code} is listed as released, but its decisions leave it open: the list "
            "was changed from outside."
        )
    ]


def test_every_decision_leaves_a_panel_somewhere() -> None:
    assert set(LEAVES) == set(DecisionKind)
    assert set(LEAVES.values()) == set(Decided) - {Decided.REPLACED}
