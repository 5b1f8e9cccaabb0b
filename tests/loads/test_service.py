"""Plans, leak checks and unwrappings through the service, on both databases."""

import dataclasses
from datetime import UTC, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import func, select

from app.audit.actor import Actor
from app.audit.records import Identity
from app.database import Database
from app.equipment.records import FurnaceCheckKind
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.loads import lists, queries
from app.loads.bags.bag import LeakReading
from app.loads.planning.planned import Plan
from app.loads.records import LeakCheck, Load, SensorRole
from app.loads.service import Unwrapped, plan_load, record_leak_check, record_unwrapping
from app.loads.trouble_queries import troubles_of_load
from app.loads.trouble_records import TroubleKind
from app.panels import queries as panels
from app.panels.records import Custody, Decided, Hold, HoldCause, MaterialLot, Panel
from app.requirements.records import (
    Requirement,
    RequirementKind,
    RequirementRevision,
    RequirementWithdrawal,
)
from tests.loads.plans import (
    START,
    a_plan,
    coupon_at,
    make_material,
    make_sensor,
    panel_at,
    sensor_at,
)
from tests.makers import CYCLE_PAPER, NOW, SHOP_RULES, Shop, bind, digest


def _plan(database: Database, plan: Plan, by: Actor) -> Any:
    return plan_load(database, plan, by=by, at=NOW, zone=UTC)


@pytest.fixture
def shop(database: Database) -> Shop:
    made = Shop(database)
    make_material(made)
    return made


def test_a_plan_is_kept_with_its_seats_and_its_coupons_are_placed(
    database: Database, shop: Shop
) -> None:
    findings = _plan(database, a_plan(), shop.inspector)
    assert {finding.outcome.value for finding in findings} == {"conforms"}
    with database.read() as session:
        load = queries.load(session, "L-1")
        seats = queries.seats(session, load.id)
        assert [panel.code for panel in seats.panels] == ["P-1"]
        assert [panel.treatment_number for panel in seats.panels] == [1]
        assert [(coupon.code, coupon.x) for coupon in seats.coupons] == [
            ("C-1", Decimal("0.1")),
            ("C-2", Decimal("0.2")),
        ]
        assert [sensor.channel for sensor in seats.required] == ["TC1", "TC2"]
        chain = panels.custody(session, seats.coupons[0].id)
        assert [step.step for step in chain] == [Custody.CUT, Custody.PLACED]
        assert chain[-1].place == "P-1, K1"
        keys = [coupon.id for coupon in seats.coupons]
        assert queries.seated_coupons(session, keys) == dict.fromkeys(keys, "L-1")
        assert seats.panels[0].table_revision_id == shop.table_revision_id


def _count(database: Database) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(Load)) or 0


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"coupons": (coupon_at(1),)}, "Panel P-1 has 1 coupon; at least 2 are asked"),
        ({"sensors": (sensor_at(1),)}, "Panel P-1 has 1 load sensor; at least 2 are asked"),
        (
            {"sensors": (sensor_at(1), sensor_at(2, role=SensorRole.CONTROL))},
            "Panel P-1 has 1 load sensor",
        ),
        ({"furnace": "FN-9"}, "No furnace FN-9 is on record"),
        ({"cycle": "CY-9"}, "No cycle CY-9 is on record"),
        (
            {"panels": (panel_at(table="AT-9"),)},
            "No acceptance table AT-9 is on record",
        ),
        (
            {"panels": (panel_at("P-9"),)},
            "No panel P-9 is on record",
        ),
        ({"panels": ()}, "The plan has no panel"),
        ({"sensors": ()}, "The plan has no load sensor"),
        (
            {"coupons": (coupon_at(1), coupon_at(2), coupon_at(3))},
            "No coupon C-3 is on record",
        ),
        (
            {"coupons": (coupon_at(1), coupon_at(2, panel="P-2"))},
            "panel P-2, which is not in this load",
        ),
        (
            {"coupons": (coupon_at(1), coupon_at(2, code="C-1"))},
            "The coupon C-1 stands in the plan 2 times",
        ),
        (
            {"sensors": (sensor_at(1), sensor_at(2, channel="TC1"))},
            "The channel TC1 stands in the plan 2 times",
        ),
        (
            {"sensors": (sensor_at(1), sensor_at(2, channel="VAC"))},
            "Channel VAC carries the bag's vacuum",
        ),
        (
            {"sensors": (sensor_at(1), sensor_at(2), sensor_at(3))},
            "No sensor S-3 is on record",
        ),
        (
            {"planned_start": NOW + timedelta(days=61)},
            r"The uniformity survey of 2026-02-01 .*2026-05-01",
        ),
    ],
)
def test_what_would_fail_in_the_morning_is_said_now(
    database: Database, shop: Shop, changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(Refusal, match=said):
        _plan(database, a_plan(**changed), shop.inspector)
    assert _count(database) == 0


def test_a_paper_due_on_the_day_of_the_start_is_still_good(database: Database, shop: Shop) -> None:
    on_the_day = NOW.replace(month=5, day=1)
    findings = _plan(database, a_plan(start=on_the_day), shop.inspector)
    surveys = [f for f in findings if f.code == "furnace.survey"]
    assert [f.outcome.value for f in surveys] == ["conforms"]


def test_a_sensor_overdue_on_the_day_is_refused(database: Database, shop: Shop) -> None:
    make_sensor(shop, "S-3", due_in_days=0)
    plan = a_plan(sensors=(sensor_at(1), sensor_at(3)))
    with pytest.raises(Refusal, match=r"Overdue for calibration on 2026-03-03: S-3"):
        _plan(database, plan, shop.inspector)


def test_a_failed_survey_is_refused(database: Database, shop: Shop) -> None:
    with database.write() as session:
        shop.furnace_check(
            session,
            shop.furnace_id,
            FurnaceCheckKind.UNIFORMITY_SURVEY,
            done_on=NOW.date(),
            passed=False,
            report="R-FAILED",
        )
    with pytest.raises(Refusal, match="failed"):
        _plan(database, a_plan(), shop.inspector)


def test_a_coupon_of_another_lot_is_refused(database: Database, shop: Shop) -> None:
    with database.write() as session:
        kept = shop.lot_id
        shop.lot_id = shop.lot(session, "LOT-2")
        shop.coupon(session, "C-9")
        shop.lot_id = kept
    plan = a_plan(coupons=(coupon_at(1), coupon_at(2, code="C-9")))
    with pytest.raises(Refusal, match="Coupon C-9 is of lot LOT-2, panel P-1 of lot LOT-1"):
        _plan(database, plan, shop.inspector)


def test_a_panel_whose_material_no_entry_is_for_is_refused(database: Database, shop: Shop) -> None:
    with database.write() as session:
        thin = MaterialLot(
            code="LOT-3",
            alloy="Q-77",
            incoming_temper="W",
            form="plate",
            thickness_mm=Decimal("5.9"),
            surface="bare",
            cast="CAST-1",
            certificate="MC-1",
            received_on=NOW.date(),
            entered_by_id=shop.inspector.id,
            entered_at=NOW,
        )
        bind(session, Identity(code="LOT-3", kind="material_lot", given_at=NOW), thin)
        shop.lot_id = thin.id
        shop.panel(session, "P-THIN")
    plan = a_plan(panels=(panel_at("P-THIN"),))
    with pytest.raises(Refusal, match=r"AT-1 revision A has no entry for panel P-THIN .*5\.9"):
        _plan(database, plan, shop.inspector)


def test_a_withdrawn_cycle_is_refused(database: Database, shop: Shop) -> None:
    with database.write() as session:
        gone = RequirementWithdrawal(
            revision_id=shop.cycle_revision_id,
            reason="replaced",
            withdrawn_by_id=shop.engineer.id,
            withdrawn_at=NOW,
        )
        bind(session, gone)
    with pytest.raises(Refusal, match="CY-1 has no revision in force at the planned start"):
        _plan(database, a_plan(), shop.inspector)


def test_a_revision_nobody_has_verified_is_refused(database: Database, shop: Shop) -> None:
    with database.write() as session:
        requirement = Requirement(code="CY-2", kind=RequirementKind.CYCLE, name="Unverified")
        bind(session, Identity(code="CY-2", kind="cycle", given_at=NOW), requirement)
        written = RequirementRevision(
            requirement_id=requirement.id,
            revision="A",
            paper=CYCLE_PAPER,
            paper_sha256=digest(CYCLE_PAPER),
            shop_rules=SHOP_RULES,
            source_document="invented for the tests",
            written_by_id=shop.engineer.id,
            written_at=NOW,
        )
        bind(session, written)
    with pytest.raises(Refusal, match="its newest is A, and nobody has verified it"):
        _plan(database, a_plan(cycle="CY-2"), shop.inspector)


def test_a_treatment_beyond_those_permitted_is_refused(database: Database, shop: Shop) -> None:
    with database.write() as session:
        used = Panel(
            code="P-USED",
            lot_id=shop.lot_id,
            drawing="D",
            order_number="O",
            target_temper="K1",
            length_mm=Decimal(1000),
            width_mm=Decimal(500),
            treatments_most=2,
            treatments_before=2,
            decided=Decided.OPEN,
            registered_by_id=shop.inspector.id,
            registered_at=NOW,
        )
        bind(session, Identity(code="P-USED", kind="panel", given_at=NOW), used)
    plan = a_plan(panels=(panel_at("P-USED"),))
    with pytest.raises(Refusal, match="thermal treatment 3 of panel P-USED; at most 2"):
        _plan(database, plan, shop.inspector)


def test_a_panel_still_in_a_load_and_a_used_coupon_are_refused(
    database: Database, shop: Shop
) -> None:
    _plan(database, a_plan(), shop.inspector)
    with pytest.raises(Refusal, match="Panel P-1 is still in load L-1") as caught:
        _plan(database, a_plan(code="L-2"), shop.inspector)
    assert "Coupon C-1 rode in load L-1; a coupon rides once." in caught.value.sentence


def test_a_loads_identity_is_given_once(database: Database, shop: Shop) -> None:
    with pytest.raises(Conflict, match="P-1 is already the identity of a panel"):
        _plan(database, a_plan(code="P-1"), shop.inspector)


def test_auditors_plan_nothing(database: Database, shop: Shop) -> None:
    with pytest.raises(NotAllowed):
        _plan(database, a_plan(), shop.auditor)


def _check(database: Database, load: Load, panel: Panel, by: Actor, *figures: str) -> Any:
    start, end, minutes = (Decimal(figure) for figure in figures)
    return record_leak_check(
        database,
        load.code,
        panel.code,
        LeakReading(start, end, minutes),
        gauge="VG-1",
        taken_at=NOW,
        by=by,
        at=NOW,
        zone=UTC,
    )[0]


@pytest.mark.parametrize(
    ("figures", "outcome"),
    [
        (("88.0", "86.0", "5"), "conforms"),
        (("88.0", "85.9", "5"), "does_not_conform"),
        (("88.0", "85.95", "5"), "conforms"),  # 2.05 rounds to 2.0, ties to even
        (("88.00", "85.94", "5"), "does_not_conform"),  # 2.06 rounds to 2.1
        (("88.0", "87.0", "4.9"), "not_proven"),
        (("88.0", "80.0", "1"), "does_not_conform"),
        (("88.0", "88.0", "5"), "conforms"),
    ],
)
def test_a_leak_check_meets_the_shops_own_limit(
    database: Database, figures: tuple[str, ...], outcome: str
) -> None:
    shop = Shop(database)
    load, panel, *_ = shop.panel_in_load()
    finding = _check(database, load, panel, shop.inspector, *figures)
    assert finding.outcome.value == outcome
    with database.read() as session:
        row = session.scalars(select(LeakCheck)).one()
        assert (row.outcome, row.limit_kpa) == (outcome, Decimal("2.0"))


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        (("850", "86.0", "5"), "level at the start is 850 kPa"),
        (("88.0", "-1", "5"), "level at the end is -1 kPa"),
        (("88.0", "86.0", "0"), "time is 0 min"),
        (("86.0", "88.0", "5"), "was the pump still connected"),
    ],
)
def test_a_level_that_cannot_be_is_refused(
    database: Database, figures: tuple[str, ...], said: str
) -> None:
    shop = Shop(database)
    load, panel, *_ = shop.panel_in_load()
    with pytest.raises(Refusal, match=said):
        _check(database, load, panel, shop.inspector, *figures)


def test_a_check_needs_a_load_and_one_of_its_panels_and_the_right_role(database: Database) -> None:
    shop = Shop(database)
    load, panel, *_ = shop.panel_in_load()
    _, other, *_ = shop.panel_in_load()
    with pytest.raises(Refusal, match=f"Panel {other.code} is not in load"):
        _check(database, load, other, shop.inspector, "88", "87", "5")
    with pytest.raises(NotFound):
        _check(database, Load(code="L-9999"), panel, shop.inspector, "88", "87", "5")
    with pytest.raises(NotAllowed):
        _check(database, load, panel, shop.engineer, "88", "87", "5")


def test_a_check_in_the_future_is_refused(database: Database) -> None:
    shop = Shop(database)
    load, panel, *_ = shop.panel_in_load()
    reading = LeakReading(Decimal(88), Decimal(87), Decimal(5))
    with pytest.raises(Refusal, match="lies in the future"):
        record_leak_check(
            database,
            load.code,
            panel.code,
            reading,
            gauge="VG-1",
            taken_at=NOW + timedelta(minutes=6),
            by=shop.inspector,
            at=NOW,
            zone=UTC,
        )


GOOD = Unwrapped(
    bag_intact=True,
    surface_clear=True,
    findings="",
    recovered=frozenset(),
    missing=frozenset(),
    searched="Searched in the bag and under the former.",
)


def _unwrap(database: Database, load: Load, panel: Panel, by: Actor, **found: Any) -> None:
    record_unwrapping(
        database,
        load.code,
        panel.code,
        dataclasses.replace(GOOD, **found),
        taken_at=NOW,
        by=by,
        at=NOW,
    )


def _last_step(database: Database, coupon_id: int) -> Custody:
    with database.read() as session:
        return panels.custody(session, coupon_id)[-1].step


def test_unwrapping_recovers_coupons_or_says_they_are_missing(database: Database) -> None:
    shop = Shop(database)
    load, panel, (one, two), _ = shop.panel_in_load()
    _unwrap(
        database,
        load,
        panel,
        shop.inspector,
        recovered=frozenset({one.code}),
        missing=frozenset({two.code}),
    )
    assert _last_step(database, one.id) is Custody.RECOVERED
    assert _last_step(database, two.id) is Custody.MISSING


def test_a_missing_coupon_that_turns_up_is_not_simply_recovered(database: Database) -> None:
    shop = Shop(database)
    load, panel, (one, two), _ = shop.panel_in_load()
    both = frozenset({one.code, two.code})
    _unwrap(database, load, panel, shop.inspector, missing=both)
    with pytest.raises(Refusal, match=f"{one.code} cannot simply be recovered") as refused:
        _unwrap(database, load, panel, shop.second, recovered=both)
    assert set(refused.value.fields) == {f"coupon:{one.code}", f"coupon:{two.code}"}
    _unwrap(database, load, panel, shop.second, missing=both)
    assert _last_step(database, one.id) is Custody.MISSING
    with database.read() as session:
        assert len(queries.unwrappings(session, load.id)) == 2
        assert len(troubles_of_load(session, load.id)) == 2


def test_what_is_missing_or_without_a_mark_is_reported_and_the_panel_held(
    database: Database,
) -> None:
    shop = Shop(database)
    load, panel, (one, two), _ = shop.panel_in_load()
    _unwrap(
        database,
        load,
        panel,
        shop.inspector,
        missing=frozenset({one.code}),
        unmarked=frozenset({two.code}),
    )
    with database.read() as session:
        lost, nameless = troubles_of_load(session, load.id)
        holds = session.scalars(select(Hold).where(Hold.panel_id == panel.id)).all()
    assert (lost.kind, lost.coupon) == (TroubleKind.MISSING, one.code)
    assert (nameless.kind, nameless.coupon, nameless.about) == (
        TroubleKind.UNMARKED,
        None,
        two.code,
    )
    assert _last_step(database, two.id) is Custody.PLACED
    assert [hold.cause for hold in holds] == [HoldCause.COUPON_TROUBLE] * 2


def test_a_missing_coupon_wants_to_be_searched_for(database: Database) -> None:
    shop = Shop(database)
    load, panel, (one, two), _ = shop.panel_in_load()
    with pytest.raises(Refusal) as refused:
        _unwrap(
            database,
            load,
            panel,
            shop.inspector,
            recovered=frozenset({one.code}),
            missing=frozenset({two.code}),
            searched="no",
        )
    assert list(refused.value.fields) == ["searched"]


def test_every_coupon_is_accounted_for_once(database: Database) -> None:
    shop = Shop(database)
    load, panel, (one, two), _ = shop.panel_in_load()
    with pytest.raises(Refusal, match=f"whether coupon {two.code}"):
        _unwrap(database, load, panel, shop.inspector, recovered=frozenset({one.code}))
    both = frozenset({one.code, two.code})
    with pytest.raises(Refusal, match=f"whether coupon {one.code}"):
        _unwrap(database, load, panel, shop.inspector, recovered=both, missing=both)
    with pytest.raises(Refusal, match="X-1: not on this panel"):
        _unwrap(database, load, panel, shop.inspector, recovered=both | {"X-1"})


@pytest.mark.parametrize("found", [{"bag_intact": False}, {"surface_clear": False}])
def test_a_burst_bag_or_a_find_is_described(database: Database, found: dict[str, Any]) -> None:
    shop = Shop(database)
    load, panel, (one, two), _ = shop.panel_in_load()
    both = frozenset({one.code, two.code})
    with pytest.raises(Refusal, match="Say what was found"):
        _unwrap(database, load, panel, shop.inspector, recovered=both, **found)
    _unwrap(database, load, panel, shop.inspector, recovered=both, findings="seam open", **found)


def test_engineers_do_not_unwrap(database: Database) -> None:
    shop = Shop(database)
    load, panel, *_ = shop.panel_in_load()
    with pytest.raises(NotAllowed):
        _unwrap(database, load, panel, shop.engineer)


def test_where_a_load_stands_follows_from_its_records(database: Database) -> None:
    shop = Shop(database)
    load, panel, (one, two), _ = shop.panel_in_load()

    def stands() -> str:
        with database.read() as session:
            return lists.standings(session, [load.id])[load.id]

    assert stands() == "planned"
    _check(database, load, panel, shop.inspector, "88", "80", "5")
    assert stands() == "planned"
    _check(database, load, panel, shop.inspector, "88", "87", "5")
    assert stands() == "bag checked"
    _unwrap(database, load, panel, shop.inspector, recovered=frozenset({one.code, two.code}))
    assert stands() == "bag checked"


def test_a_late_entry_is_noted_and_not_refused(database: Database, shop: Shop) -> None:
    findings = _plan(database, a_plan(start=NOW - timedelta(days=2)), shop.inspector)
    assert [f.outcome.value for f in findings if f.code == "plan.late"] == ["note"]
    assert START > NOW
