"""An order selects the revisions that govern its panels' loads, and its own table is composed."""

import copy
import re
from datetime import date, timedelta
from html import unescape
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from app.audit.records import TrailEntry
from app.bench.records import CouponVerdict
from app.database import Base, Database
from app.documents.table_sheet import COLUMNS
from app.errors import Conflict, NotAllowed, Refusal
from app.judging.verdict import Outcome
from app.loads import service
from app.loads.planning.plan_check import check_plan
from app.loads.queries import load as load_of
from app.loads.records import LoadPanel
from app.loads.service.run import start_findings
from app.people.records import Meaning, Signature
from app.requirements.records import (
    RequirementKind,
    RequirementRevision,
    RequirementVerification,
    RequirementWithdrawal,
)
from app.requirements.service.orders import compose_table, enter_order, state_requirement
from tests.bench.bench_makers import Bench
from tests.loads.plans import START, a_plan, make_material, panel_at, plan_fields
from tests.makers import CYCLE_PAPER, NOW, SHOP_RULES, TABLE_PAPER, Shop, bind, digest
from tests.visits import Visit, words

ZONE = ZoneInfo("Europe/Lisbon")
BEFORE_B, AFTER_B = date(2026, 2, 20), date(2026, 3, 2)


def table_paper(revision: str, least: str, **changed: Any) -> dict[str, Any]:
    """The shop's table with another least hardness."""
    paper = copy.deepcopy(TABLE_PAPER) | {"revision": revision}
    paper["entries"][0]["criteria"][0] |= {"min": least, **changed}
    return paper


def revise(
    shop: Shop, revision_of: int, paper: dict[str, Any], *, days: int = 0, name: str = "B"
) -> int:
    """A further revision, verified and in force from so many days after the records begin."""
    with shop.database.write() as session:
        first = session.get_one(RequirementRevision, revision_of)
        row = RequirementRevision(
            requirement_id=first.requirement_id,
            revision=name,
            paper=paper,
            paper_sha256=digest(paper),
            shop_rules=first.shop_rules,
            source_document="invented for the tests",
            written_by_id=shop.engineer.id,
            written_at=NOW,
        )
        bind(session, row)
        signature = Signature(
            person_id=shop.supervisor.id,
            printed_name=shop.supervisor.full_name,
            meaning=Meaning.VERIFIED_TABLE,
            signed_at=NOW,
            content_sha256=digest(paper),
        )
        bind(session, signature)
        verified = RequirementVerification(
            revision_id=row.id,
            verified_by_id=shop.supervisor.id,
            verified_at=NOW,
            in_force_from=NOW + timedelta(days=days),
            signature_id=signature.id,
        )
        bind(session, verified)
        return row.id


def order(shop: Shop, number: str, placed_on: date, **changed: Any) -> None:
    """An order as the supervisor enters it."""
    given: dict[str, Any] = {
        "customer": "Invented Airframes",
        "later_revisions_allowed": False,
        "rework_needs_customer": False,
        "note": "",
    }
    enter_order(
        shop.database,
        number=number,
        placed_on=placed_on,
        **(given | changed),
        by=shop.supervisor,
        at=NOW,
        zone=ZONE,
    )


def state(shop: Shop, number: str, code: str, revision: str | None, **changed: Any) -> None:
    """What the order says of a table or cycle."""
    state_requirement(
        shop.database,
        number,
        code=code,
        stated_revision=revision,
        is_extra=changed.get("is_extra", False),
        clause="clause 4",
        by=shop.engineer,
        at=NOW,
    )


def against(shop: Shop, **changed: Any) -> str:
    """Every sentence that stands against the plan."""
    with shop.database.read() as session:
        found = check_plan(session, a_plan(**changed), at=NOW, zone=ZONE)
    return " ".join(one.text for one in found.findings if one.outcome is Outcome.DOES_NOT_CONFORM)


def test_an_order_keeps_its_day_s_revision_and_refuses_another(database: Database) -> None:
    shop = Shop(database)
    make_material(shop)
    revise(shop, shop.table_revision_id, table_paper("B", "84.0"))
    assert against(shop) == ""
    assert "revision A was chosen and does not govern" in against(
        shop, panels=(panel_at(table_revision="A"),)
    )
    with pytest.raises(NotAllowed):
        enter_order(
            database,
            number="ORD-1",
            customer="x",
            placed_on=BEFORE_B,
            later_revisions_allowed=False,
            rework_needs_customer=False,
            note="",
            by=shop.inspector,
            at=NOW,
            zone=ZONE,
        )
    order(shop, " ORD-1 ", BEFORE_B)
    with pytest.raises(Conflict, match="on record already"):
        order(shop, "ORD-1", AFTER_B)
    with pytest.raises(Refusal, match="still to come"):
        order(shop, "ORD-2", NOW.date() + timedelta(days=1))
    # Superseded is not withdrawn: the order keeps revision A.
    told = against(shop, panels=(panel_at(table_revision="B"),))
    assert "AT-1 revision B was chosen and does not govern: AT-1 revision A governs" in told
    service.plan_load(database, a_plan(), by=shop.inspector, at=NOW, zone=ZONE)
    with database.read() as session:
        seat = session.scalars(select(LoadPanel)).one()
        assert seat.table_revision_id == shop.table_revision_id
        assert seat.governed is not None
        assert seat.governed["order_day"] == "2026-02-20"
        assert seat.governed["table"] == "AT-1 revision A"
        assert "newest that was in force on the day of order ORD-1" in seat.governed["reason"]
        assert "CY-1 revision A governs" in seat.governed["cycle_reason"]
        # Judged again at the door, the load keeps what it was planned with.
        again = start_findings(
            session, load_of(session, "L-1"), started_at=START, at=NOW, zone=ZONE
        )
        assert not [
            one
            for one in again
            if one.code in {"plan.revision", "plan.acceptance_table"}
            and one.outcome is Outcome.DOES_NOT_CONFORM
        ]


def test_statements_replace_each_other_and_a_withdrawn_revision_is_never_used(
    sqlite_url: str,
) -> None:
    shop = Shop(Database(sqlite_url))
    make_material(shop)
    order(shop, "ORD-1", BEFORE_B, later_revisions_allowed=True)
    table_b = revise(shop, shop.table_revision_id, table_paper("B", "84.0"))
    later = {"panels": (panel_at(table_revision="B"),)}
    assert against(shop, **later) == ""
    state(shop, "ORD-1", "at-1", "C")
    assert "it is not on record" in against(shop)
    state(shop, "ORD-1", "AT-1", "B")
    assert against(shop) == ""
    with shop.database.write() as session:
        gone = RequirementWithdrawal(
            revision_id=table_b,
            reason="a digit was wrong",
            withdrawn_by_id=shop.engineer.id,
            withdrawn_at=NOW,
        )
        bind(session, gone)
    assert "has been withdrawn since and no new load may use it" in against(shop)
    state(shop, "ORD-1", "AT-1", None)
    assert against(shop) == ""
    with pytest.raises(Refusal, match="Only an acceptance table"):
        state(shop, "ORD-1", "CY-1", None, is_extra=True)
    # A cycle that the order does not state, where it states one.
    with shop.database.write() as session:
        shop._requirement(session, "CY-2", RequirementKind.CYCLE, CYCLE_PAPER, SHOP_RULES)  # noqa: SLF001
    state(shop, "ORD-1", "CY-2", None)
    assert "Order ORD-1 states CY-2, not the cycle CY-1" in against(shop)


def test_panels_of_two_orders_must_share_the_cycle_s_revision(sqlite_url: str) -> None:
    shop = Shop(Database(sqlite_url))
    make_material(shop)
    with shop.database.write() as session:
        other = shop.panel(session, "P-2")
        other.order_number = "ORD-2"
        bind(session, other)
    revise(shop, shop.cycle_revision_id, CYCLE_PAPER)
    order(shop, "ORD-1", BEFORE_B, later_revisions_allowed=True)
    order(shop, "ORD-2", AFTER_B)
    both = {"panels": (panel_at(), panel_at("P-2"))}
    told = against(shop, **both)
    assert (
        "not governed by one revision of CY-1: revision A governs P-1; revision B governs P-2"
        in told
    )
    assert "not governed by one revision" not in against(shop, **both, cycle_revision="B")


def test_the_table_of_an_order_is_composed_and_a_laxer_one_is_refused(sqlite_url: str) -> None:
    shop = Shop(Database(sqlite_url))
    make_material(shop)
    strict = table_paper("7", "84.5", readings_min=4)
    strict["entries"][0]["criteria"] = strict["entries"][0]["criteria"][:1]
    with shop.database.write() as session:
        shop._requirement(session, "XT-1", RequirementKind.ACCEPTANCE_TABLE, strict, {})  # noqa: SLF001
    order(shop, "ORD-1", AFTER_B)
    with pytest.raises(Refusal, match="states no extra table"):
        _compose(shop)
    state(shop, "ORD-1", "XT-1", None, is_extra=True)
    assert "asks less of panel P-1 than XT-1 revision A, the extra table of order" in against(shop)
    _compose(shop)
    told = against(shop, panels=(panel_at(table="AT-ORD-1"),))
    assert "AT-ORD-1 revision 1 would govern" in told
    assert "it is not verified" in told
    with shop.database.write() as session:
        draft = session.scalars(
            select(RequirementRevision).where(RequirementRevision.revision == "1")
        ).one()
        first = draft.paper["entries"][0]["criteria"][0]
        assert (first["min"], first["readings_min"]) == ("84.5", 4)
        assert "minimum 84.5, readings 4 by XT-1 revision A" in first["source"]
        signature = Signature(
            person_id=shop.supervisor.id,
            printed_name=shop.supervisor.full_name,
            meaning=Meaning.VERIFIED_TABLE,
            signed_at=NOW,
            content_sha256=draft.paper_sha256,
        )
        bind(session, signature)
        verified = RequirementVerification(
            revision_id=draft.id,
            verified_by_id=shop.supervisor.id,
            verified_at=NOW,
            in_force_from=NOW,
            signature_id=signature.id,
        )
        bind(session, verified)
    assert against(shop, panels=(panel_at(table="AT-ORD-1"),)) == ""


def _compose(shop: Shop) -> None:
    compose_table(
        shop.database,
        "ORD-1",
        base="AT-1",
        code="AT-ORD-1",
        name="Table of order ORD-1",
        revision="1",
        by=shop.engineer,
        at=NOW,
        zone=ZONE,
    )


class TestPages:
    """Over HTTP, on SQLite alone: the services beneath were tried on both databases."""

    @pytest.fixture
    def database_url(self, sqlite_url: str) -> str:
        return sqlite_url

    def test_an_order_is_entered_states_and_is_shown(
        self, database: Database, visit: Visit
    ) -> None:
        shop = Shop(database)
        make_material(shop)
        visit.sign_in("tomas")
        assert "No order is on record" in words(visit.get("/orders").text)
        link = '<a href="/orders/ORD-1">ORD-1</a>'
        assert link not in visit.get("/panels/P-1").text
        asked = {"number": "ORD-1", "customer": "Invented Airframes", "placed_on": "2026-02-20"}
        wrong = visit.post("/register/order", **(asked | {"placed_on": "20 Feb"}))
        assert "is not a date" in words(wrong.text)
        assert 'value="Invented Airframes"' in wrong.text
        answer = visit.post("/register/order", **asked, later="yes")
        assert "Order ORD-1 is on record." in words(visit.follow(answer).text)
        assert link in visit.get("/panels/P-1").text
        said = {"code": "AT-1", "stated_revision": "A", "clause": "clause 4"}
        assert "Where the order says so" in words(visit.get("/orders/ORD-1/statement").text)
        shown = words(visit.follow(visit.post("/orders/ORD-1/statement", **said)).text)
        assert "order ORD-1 of 2026-02-20 states it (clause 4)" in shown
        assert "P-1" in shown
        visit.post("/orders/ORD-1/statement", **said | {"stated_revision": ""})
        shown = words(visit.get("/orders/ORD-1").text)
        assert "replaced" in shown
        refused = visit.post("/orders/ORD-1/table", base="AT-1", code="T-1", name="n", revision="1")
        assert "states no extra table" in words(refused.text)
        visit.sign_in("ines")
        plan = visit.post("/loads/plan", **plan_fields(table_revision_1="Z"))
        assert "AT-1 has no revision Z" in words(plan.text)
        checked = words(visit.post("/loads/plan", **plan_fields(act="check")).text)
        assert "What governs each panel, and why P-1 AT-1 revision A governs" in checked
        visit.follow(visit.post("/loads/plan", **plan_fields(table_revision_1="A")))
        assert "AT-1 revision A governs" in words(visit.get("/orders/ORD-1").text)

    def test_a_table_from_a_sheet_is_shown_before_it_is_kept(
        self, database: Database, visit: Visit
    ) -> None:
        Shop(database)
        visit.sign_in("tomas")
        blank = visit.get("/register/table-sheet/blank").text.lstrip("\ufeff")
        assert visit.get("/register/table-sheet/workbook").content.startswith(b"PK")
        row = {
            "alloy": "Q-77",
            "temper": "K1",
            "form": "plate",
            "thickness from": "6",
            "thickness to": "9",
            "source": "table 2",
            "obtained": "invented",
            "quantity": "hardness",
            "scale or unit": "HRB",
            "statistic": "each",
            "readings": "3",
            "min": "83.0",
            "own source": "note 7",
        }
        head = blank.replace("name,", "name,From a sheet", 1).replace("revision,", "revision,A", 1)
        line = ",".join(row.get(name, "") for name in COLUMNS)
        wrong = visit.post("/register/table-sheet", code="AT-9", files={"file": ("a.csv", head)})
        assert "the table has none" in words(wrong.text)
        sent = {"file": ("a.csv", head + line)}
        read = visit.post("/register/table-sheet", files=sent, code="AT-9")
        shown = words(read.text)
        assert "Nothing is kept yet." in shown
        assert "at least 83.0 HRB" in shown
        assert "from note 7" in shown
        assert visit.get("/tables/AT-9").status_code == 404
        found = re.search(r'name="paper" value="([^"]+)"', read.text)
        assert found
        kept = visit.post(
            "/register/table", code="AT-9", source_document="p 1", paper=unescape(found[1])
        )
        assert "at least 83.0 HRB" in words(visit.follow(kept).text)

    def test_what_if_changes_nothing_and_says_so(self, database: Database, visit: Visit) -> None:
        bench = Bench(database)
        coupon = bench.coupon()
        bench.read(bench.open(), coupon, "83.5", "83.6", "84.9")
        revise(bench.shop, bench.shop.table_revision_id, table_paper("B", "83.6"))
        visit.sign_in("mara")
        before = _everything(database)
        page = words(visit.get("/what-if?table=at-1&revision=B").text)
        assert _everything(database) == before
        assert "NOT A RECORD" in page
        assert f"{coupon.code} not proven, revision A does not conform" in page
        assert "hardness, minimum: -0.1 HRB" in page
        assert "1 of 1 would be judged otherwise" in page
        for asked, status, told in (
            ("", 200, "Choose a table and name one of its revisions"),
            ("?table=AT-1", 422, "Type which of its revisions."),
            ("?table=AT-1&revision=Z", 404, "AT-1 has no revision 'Z'; it has A, B."),
            ("?table=NO-1&revision=A", 404, "No acceptance table NO-1 is on record."),
        ):
            choice = visit.get(f"/what-if{asked}")
            assert (choice.status_code, told in words(choice.text).replace("&#39;", "'")) == (
                status,
                True,
            ), asked
            assert '<option value="AT-1"' in choice.text
        nothing = words(visit.get("/what-if?table=AT-1&revision=A").text)
        assert "No coupon was judged under another revision" in nothing
        with database.read() as session:
            assert session.scalars(select(CouponVerdict.table_revision_id)).all()


def _everything(database: Database) -> dict[str, list[Any]]:
    """Every row of every table; the trail's head among them."""
    with database.read() as session:
        assert session.scalars(select(TrailEntry)).first()
        return {
            table.name: [tuple(row) for row in session.execute(select(table))]
            for table in Base.metadata.sorted_tables
            if not table.name.startswith("sign_in")
        }
