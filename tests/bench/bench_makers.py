"""A bench at work, for tests: coupons at hand, sessions, readings, each act a minute later."""

import copy
from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select

from app.audit.actor import Actor
from app.bench import queries, service
from app.bench.records import (
    CheckMoment,
    CorrectionRequest,
    CouponVerdict,
    Reading,
    VoidCause,
)
from app.bench.service import (
    CheckTaken,
    Corrected,
    Correction,
    LaboratoryResult,
    ReadingsTaken,
    Saved,
)
from app.database import Database
from app.judging.verdict import Finding
from app.panels.records import Coupon, Custody
from app.requirements.records import RequirementKind
from tests.makers import NOW, TABLE_PAPER, Shop
from tests.visits import PASSWORD

ZONE = ZoneInfo("Europe/Lisbon")
GOOD_CHECK = {"HT-1": ("85.2", "84.8"), "CM-1": ("38.9",)}
FAILED_CHECK = {"HT-1": ("87.2", "87.4"), "CM-1": ("40.1",)}


class Bench:
    """The invented shop's bench. ``at`` moves on by a minute with every act."""

    def __init__(self, database: Database, *, retest: dict[str, Any] | None = None) -> None:
        self.database = database
        self.shop = Shop(database)
        self.at: datetime = NOW + timedelta(hours=3)
        self._forms = 0
        if retest is not None:
            paper = copy.deepcopy(TABLE_PAPER)
            paper["entries"][0]["retest"] = retest
            with database.write() as session:
                self.shop.table_revision_id = self.shop._requirement(  # noqa: SLF001 - its own maker
                    session, "AT-2", RequirementKind.ACCEPTANCE_TABLE, paper, {}
                )

    def tick(self) -> datetime:
        """The next minute."""
        self.at += timedelta(minutes=1)
        return self.at

    def form(self) -> str:
        """The name of a new form."""
        self._forms += 1
        return f"form-{self._forms}"

    def coupons(self, number: int = 2) -> Sequence[Coupon]:
        """Coupons of one panel, recovered from their load."""
        _, _, coupons, _ = self.shop.panel_in_load(coupons=number)
        with self.database.write() as session:
            for coupon in coupons:
                self.shop.custody(session, coupon, Custody.RECOVERED)
        return coupons

    def coupon(self) -> Coupon:
        """The only coupon of a panel, recovered."""
        return self.coupons(1)[0]

    def open(self, tester: str = "HT-1", by: Actor | None = None) -> int:
        """A session with a conforming opening check."""
        person = by or self.shop.inspector
        number = service.open_session(
            self.database, tester_code=tester, by=person, at=self.tick(), zone=ZONE
        )
        self.check(number, tester, "opening", by=person)
        return number

    def check(
        self,
        session_id: int,
        tester: str,
        moment: str,
        *readings: str,
        by: Actor | None = None,
        **changed: Any,
    ) -> Finding:
        """A check on the tester's block; conforming unless told otherwise."""
        taken = CheckTaken(
            moment=CheckMoment(moment),
            block_code=changed.pop("block", f"RB-{tester}"),
            readings=tuple(Decimal(one) for one in readings or GOOD_CHECK[tester]),
            **changed,
        )
        return service.record_check(
            self.database,
            taken,
            session_id=session_id,
            by=by or self.shop.inspector,
            at=self.tick(),
            zone=ZONE,
        )

    def read(
        self,
        session_id: int,
        coupon: Coupon | str,
        *values: str,
        by: Actor | None = None,
        **changed: Any,
    ) -> Saved:
        """Readings on a coupon; hardness with its tick, conductivity with both temperatures."""
        with self.database.read() as session:
            quantity = queries.bench_session(session, session_id).quantity
        usual: dict[str, Any] = (
            {"spacing_confirmed": True}
            if quantity == "hardness"
            else {"coupon_c": Decimal("21.0"), "block_c": Decimal("20.5")}
        )
        usual |= {"submission": self.form(), **changed}
        return service.record_readings(
            self.database,
            ReadingsTaken(
                coupon if isinstance(coupon, str) else coupon.code,
                tuple(Decimal(one) for one in values),
                **usual,
            ),
            session_id=session_id,
            by=by or self.shop.inspector,
            at=self.tick(),
            zone=ZONE,
        )

    def hard(self, coupon: Coupon, *values: str, by: Actor | None = None) -> Saved:
        """A whole hardness session on one coupon; 84.5, 85.0 and 85.5 unless told otherwise."""
        session_id = self.open("HT-1", by)
        self.read(session_id, coupon, *(values or ("84.5", "85.0", "85.5")), by=by)
        self.check(session_id, "HT-1", "closing", by=by)
        return self.now(coupon)

    def conductive(self, coupon: Coupon, *values: str, by: Actor | None = None) -> Saved:
        """A whole conductivity session on one coupon; 39.0 three times unless told otherwise."""
        session_id = self.open("CM-1", by)
        self.read(session_id, coupon, *(values or ("39.0", "39.0", "39.0")), by=by)
        self.check(session_id, "CM-1", "closing", by=by)
        return self.now(coupon)

    def laboratory(self, coupon: Coupon, value: str, **changed: Any) -> Saved:
        """A yield strength in MPa from a laboratory."""
        given: dict[str, Any] = {
            "coupon_code": coupon.code,
            "quantity": "yield_strength",
            "unit": "MPa",
            "value": Decimal(value),
            "report": "LAB-7",
            "tested_at": self.at,
            "submission": self.form(),
            **changed,
        }
        return service.record_laboratory_result(
            self.database,
            LaboratoryResult(**given),
            by=self.shop.inspector,
            at=self.tick(),
            zone=ZONE,
        )

    def correct(
        self, coupon: Coupon, reading: Reading, value: str | None, *, by: Actor, **changed: Any
    ) -> Corrected:
        """A correction of a reading."""
        given: dict[str, Any] = {"reason": "digits swapped, see print-out", **changed}
        given.setdefault("submission", self.form())
        return service.correct_reading(
            self.database,
            Correction(coupon.code, reading.id, None if value is None else Decimal(value), **given),
            by=by,
            at=self.tick(),
            zone=ZONE,
        )

    def void(self, coupon: Coupon, reading: Reading, *, approved: bool = True) -> None:
        """A void asked by the inspector and answered by the supervisor."""
        request = service.ask_void(
            self.database,
            coupon_code=coupon.code,
            reading_id=reading.id,
            cause=VoidCause.SLIPPED,
            evidence="the print shows a drag mark",
            by=self.shop.inspector,
            at=self.tick(),
        )
        self.answer(coupon, request, approved=approved)

    def answer(
        self, coupon: Coupon, request: int, *, approved: bool = True, by: Actor | None = None
    ) -> None:
        """An answer to a void."""
        service.answer_void(
            self.database,
            coupon_code=coupon.code,
            request_id=request,
            approved=approved,
            reason="I have seen the print myself",
            by=by or self.shop.supervisor,
            at=self.tick(),
            zone=ZONE,
        )

    def answer_correction(
        self,
        coupon: Coupon,
        request: int | None = None,
        *,
        approved: bool = True,
        by: Actor | None = None,
    ) -> None:
        """An answer to a correction that somebody asked for; the newest one unless told."""
        service.answer_correction(
            self.database,
            coupon_code=coupon.code,
            request_id=self.asked(coupon)[-1].id if request is None else request,
            approved=approved,
            reason="I have seen the print-out myself",
            by=by or self.shop.supervisor,
            at=self.tick(),
            zone=ZONE,
        )

    def asked(self, coupon: Coupon) -> Sequence[CorrectionRequest]:
        """The corrections asked for on the coupon, in order."""
        with self.database.read() as session:
            return session.scalars(
                select(CorrectionRequest)
                .join(Reading, Reading.id == CorrectionRequest.reading_id)
                .where(Reading.coupon_id == coupon.id)
                .order_by(CorrectionRequest.id)
            ).all()

    def retest(
        self, coupon: Coupon, *positions: Coupon, by: Actor | None = None, password: str = PASSWORD
    ) -> int:
        """The table's retest, opened by the supervisor; on these coupons where it is of coupons."""
        return service.open_retest(
            self.database,
            coupon_code=coupon.code,
            reason="the table permits it, and the panel is dear",
            positions=[one.code for one in positions],
            password=password,
            by=by or self.shop.supervisor,
            at=self.tick(),
            zone=ZONE,
        )

    def readings(self, coupon: Coupon) -> Sequence[Reading]:
        """The coupon's readings in the order recorded."""
        with self.database.read() as session:
            return session.scalars(
                select(Reading).where(Reading.coupon_id == coupon.id).order_by(Reading.id)
            ).all()

    def verdicts(self, coupon: Coupon) -> Sequence[CouponVerdict]:
        """The coupon's verdicts, newest first."""
        with self.database.read() as session:
            return queries.verdicts(session, coupon.id)

    def now(self, coupon: Coupon) -> Saved:
        """What is on record about the coupon now."""
        latest = self.verdicts(coupon)[0]
        return Saved(coupon.code, latest.verdict, latest.provisional)

    def texts(self, coupon: Coupon) -> str:
        """The sentences of the newest verdict's findings."""
        return " ".join(one["text"] for one in self.verdicts(coupon)[0].paper["findings"])


def vickers_bench(database: Database) -> tuple[Bench, Coupon]:
    """A bench with a Vickers tester, and a coupon with three indentations, one of them misread."""
    bench = Bench(database)
    paper = copy.deepcopy(TABLE_PAPER)
    criterion = {**paper["entries"][0]["criteria"][0], "scale": "HV10", "min": "160"}
    paper["entries"][0]["criteria"] = [{**criterion, "range_max": None}]
    with database.write() as session:
        bench.shop.table_revision_id = bench.shop._requirement(  # noqa: SLF001 - its own maker
            session, "AT-HV", RequirementKind.ACCEPTANCE_TABLE, paper, {}
        )
        force = {"force_n": Decimal("98.07"), "asymmetry_percent": Decimal(5)}
        bench.shop.tester(session, "HV-1", "hardness", "HV10", **force)
        bench.shop.block(session, "RB-HV-1", "hardness", "HV10", "170", "5")
    coupon = bench.coupon()
    number = service.open_session(
        database, tester_code="HV-1", by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    bench.check(number, "HV-1", "opening", "170", "171")
    sizes = (("0.333", "0.335"), ("0.343", "0.349"), ("0.334", "0.334"))
    taken = tuple((Decimal(one), Decimal(other)) for one, other in sizes)
    bench.read(number, coupon, sizes=taken)
    bench.check(number, "HV-1", "closing", "170", "171")
    return bench, coupon
