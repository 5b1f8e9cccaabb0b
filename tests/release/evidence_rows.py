"""Build a panel's evidence as plain rows: what the loads and bench pages would have written."""

import hashlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.bench.records import (
    BenchSession,
    BlockCheck,
    CheckMoment,
    CouponVerdict,
    Reading,
    VoidAnswer,
    VoidCause,
    VoidRequest,
)
from app.database import Database
from app.loads.records import (
    FurnaceRecord,
    LeakCheck,
    Load,
    LoadPanel,
    RecordVerdict,
    StoredFile,
    Unwrapping,
)
from app.panels.records import Coupon, Custody, Panel
from app.release.queries.panel_facts import panel_facts
from app.release.service import Case, case_of
from tests.makers import CYCLE_PAPER, NOW, Shop, bind, digest

LATER = NOW + timedelta(days=3)
"""When decisions are made in these tests."""


def finding(outcome: str, text: str, code: str = "test") -> dict[str, Any]:
    """A finding as a verdict's paper keeps it."""
    return {
        "code": code,
        "outcome": outcome,
        "text": text,
        "value": "85.0",
        "limit": "83.0",
        "unit": "HRB",
        "source": "invented for the tests",
        "working": ["85.0 >= 83.0"],
    }


class Evidence:
    """Adds evidence to panels of a shop, piece by piece."""

    def __init__(self, database: Database, shop: Shop) -> None:
        self.database = database
        self.shop = shop

    def ready(self, **left_out: bool) -> tuple[Load, Panel, Sequence[Coupon]]:
        """A panel whose evidence is complete and conforms, except for parts named ``part=False``.

        Parts: leak, record, unwrapping, recovered, verdicts.
        """
        load, panel, coupons, _ = self.shop.panel_in_load()
        with self.database.write() as session:
            self.fill(session, load, panel, coupons, **left_out)
        return load, panel, coupons

    def fill(
        self,
        session: Session,
        load: Load,
        panel: Panel,
        coupons: Sequence[Coupon],
        *,
        leak: bool = True,
        record: bool = True,
        unwrapping: bool = True,
        recovered: bool = True,
        verdicts: bool = True,
    ) -> None:
        """The evidence of one load."""
        if leak:
            self.leak(session, load, panel)
        if record:
            self.record(session, load)
        if unwrapping:
            self.unwrapping(session, load, panel)
        if recovered:
            for coupon in coupons:
                self.shop.custody(session, coupon, Custody.RECOVERED, Custody.AT_BENCH)
        if verdicts:
            self.measured(session, coupons)

    def leak(self, session: Session, load: Load, panel: Panel, outcome: str = "conforms") -> None:
        bind(
            session,
            LeakCheck(
                load_id=load.id,
                panel_id=panel.id,
                start_kpa=Decimal("88.0"),
                end_kpa=Decimal("87.2"),
                minutes=Decimal(5),
                limit_kpa=Decimal("2.0"),
                outcome=outcome,
                by_id=self.shop.inspector.id,
                taken_at=NOW,
                entered_at=NOW,
            ),
        )

    def record(
        self,
        session: Session,
        load: Load,
        verdict: str = "conforms",
        *findings: dict[str, Any],
        replaces: int | None = None,
    ) -> int:
        name = f"{load.code}-{verdict}-{replaces}"
        digested = hashlib.sha256(name.encode()).hexdigest()
        bind(
            session,
            StoredFile(
                sha256=digested,
                load_id=load.id,
                size_bytes=3,
                compression="none",
                content=name.encode(),
                stored_at=NOW,
            ),
        )
        record = FurnaceRecord(
            load_id=load.id,
            file_sha256=digested,
            file_name=f"{load.code}.csv",
            layout={},
            starts_at=NOW,
            length_s=Decimal(90000),
            samples=9000,
            trace_sha256=digested,
            replaces_id=replaces,
            imported_by_id=self.shop.inspector.id,
            imported_at=NOW,
        )
        bind(session, record)
        paper = {"verdict": verdict, "findings": list(findings or [finding(verdict, "The soak.")])}
        bind(
            session,
            RecordVerdict(
                record_id=record.id,
                cycle_revision_id=load.cycle_revision_id,
                cycle_as_judged=CYCLE_PAPER,
                verdict=verdict,
                paper=paper,
                paper_sha256=digest(paper),
                rules_version="1",
                judged_by_id=self.shop.inspector.id,
                judged_at=NOW,
            ),
        )
        return record.id

    def unwrapping(
        self,
        session: Session,
        load: Load,
        panel: Panel,
        *,
        bag_intact: bool = True,
        surface_clear: bool | None = True,
        findings: str = "",
        contour: tuple[str, str] | None = ("0.8", "1.5"),
    ) -> None:
        gap, limit = contour or (None, None)
        bind(
            session,
            Unwrapping(
                load_id=load.id,
                panel_id=panel.id,
                bag_intact=bag_intact,
                surface_clear=surface_clear,
                findings=findings,
                by_id=self.shop.inspector.id,
                taken_at=NOW,
                entered_at=NOW,
                contour_gap_mm=None if gap is None else Decimal(gap),
                contour_limit_mm=None if limit is None else Decimal(limit),
            ),
        )

    def session_of(self, session: Session, by_id: int) -> BenchSession:
        """A closed bench session at the hardness tester, both checks conforming."""
        opened = BenchSession(
            tester_id=self.shop.hardness_tester_id, operator_id=by_id, opened_at=NOW
        )
        bind(session, opened)
        for moment in (CheckMoment.OPENING, CheckMoment.CLOSING):
            bind(session, self.check(opened.id, moment, by_id))
        return opened

    def check(self, session_id: int, moment: CheckMoment, by_id: int) -> BlockCheck:
        """A conforming check on the block of the hardness tester."""
        return BlockCheck(
            session_id=session_id,
            moment=moment,
            block_id=1,
            readings=(Decimal("85.0"),),
            block_c=None,
            outcome="conforms",
            finding=finding("conforms", "The block reads right."),
            by_id=by_id,
            taken_at=NOW,
        )

    def measured(
        self,
        session: Session,
        coupons: Sequence[Coupon],
        verdict: str = "conforms",
        *,
        provisional: bool = False,
        by_id: int | None = None,
        value: str = "85.2",
    ) -> list[Reading]:
        """One reading of each coupon, and a verdict row made from it."""
        by_id = by_id or self.shop.inspector.id
        opened = self.session_of(session, by_id)
        readings = []
        for coupon in coupons:
            reading = Reading(
                session_id=opened.id,
                coupon_id=coupon.id,
                quantity="hardness",
                unit="HRB",
                value=Decimal(value),
                coupon_c=None,
                block_c=None,
                frequency_khz=None,
                spacing_confirmed=True,
                report=None,
                retest_id=None,
                submission=f"s-{coupon.code}-{value}",
                replaces_id=None,
                reason=None,
                taken_by_id=by_id,
                taken_at=NOW,
                entered_at=NOW,
            )
            bind(session, reading)
            self.verdict(session, coupon, verdict, provisional=provisional, inputs=value)
            readings.append(reading)
        return readings

    def verdict(
        self,
        session: Session,
        coupon: Coupon,
        verdict: str,
        *,
        provisional: bool = False,
        inputs: str = "85.2",
        text: str = "Hardness 85.2 HRB against 83.0 HRB.",
    ) -> None:
        bind(
            session,
            CouponVerdict(
                coupon_id=coupon.id,
                table_revision_id=self.shop.table_revision_id,
                verdict=verdict,
                provisional=provisional,
                paper={
                    "verdict": verdict,
                    "provisional": provisional,
                    "entry": None,
                    "findings": [finding(verdict, text)],
                },
                inputs_sha256=hashlib.sha256(inputs.encode()).hexdigest(),
                rules_version="1",
                judged_by_id=self.shop.inspector.id,
                judged_at=NOW,
            ),
        )

    def void_asked(self, session: Session, reading: Reading, by_id: int) -> VoidRequest:
        request = VoidRequest(
            reading_id=reading.id,
            cause=VoidCause.SLIPPED,
            evidence="The indenter left two marks.",
            asked_by_id=by_id,
            asked_at=NOW,
        )
        bind(session, request)
        return request

    def void_answered(self, session: Session, request: VoidRequest, by_id: int) -> None:
        bind(
            session,
            VoidAnswer(
                request_id=request.id,
                approved=True,
                reason="Seen under the glass.",
                answered_by_id=by_id,
                answered_at=NOW,
            ),
        )

    def loaded_again(
        self, session: Session, panel: Panel, at: datetime
    ) -> tuple[Load, list[Coupon]]:
        """A second load of the same panel, planned ``at``, with two new coupons."""
        code = f"{panel.code}-AGAIN"
        load = Load(
            code=code,
            furnace_id=self.shop.furnace_id,
            cycle_revision_id=self.shop.cycle_revision_id,
            planned_start=at,
            planned_by_id=self.shop.engineer.id,
            planned_at=at,
        )
        bind(session, self.shop._identity(code, "load"), load)  # noqa: SLF001
        bind(
            session,
            LoadPanel(
                load_id=load.id,
                panel_id=panel.id,
                table_revision_id=self.shop.table_revision_id,
                former="FORMER-1",
                treatment_number=2,
            ),
        )
        coupons = [
            self.shop._placed(session, load, panel, f"C-{code}-{n}", n / 3)  # noqa: SLF001
            for n in (1, 2)
        ]
        session.expunge_all()
        return load, coupons


def case(database: Database, panel: Panel) -> Case:
    """The panel's case as a page would read it now."""
    with database.read() as session:
        facts = panel_facts(session, [panel.id], zone=ZoneInfo("UTC"), in_full=True)
    return case_of(facts[panel.id])
