"""Build records for tests: plain rows, bound to the trail, without going through the services.

Everything is invented. ``Shop(database)`` makes people, equipment, requirements and material;
``shop.panel_in_load()`` makes a panel that has been planned into a load with its coupons and
sensors. What a test is about it does through the services themselves.
"""

import hashlib
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cache
from typing import Any

from argon2 import PasswordHasher
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.records import Identity
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database, paper_text
from app.equipment.records import (
    Build,
    Furnace,
    FurnaceCheck,
    FurnaceCheckKind,
    FurnaceQualification,
    GaugeCertificate,
    ReferenceBlock,
    ReportReview,
    Sensor,
    SensorCertificate,
    Tester,
    TesterCertificate,
    Thermometer,
    ThermometerCertificate,
    VacuumGauge,
)
from app.loads.records import Load, LoadCoupon, LoadPanel, LoadSensor, SensorRole
from app.panels.records import Coupon, Custody, CustodyStep, Decided, MaterialLot, Panel
from app.people.records import Authorisation, Meaning, Person, Signature, Task
from app.people.rights import Role
from app.requirements.records import (
    Requirement,
    RequirementKind,
    RequirementRevision,
    RequirementVerification,
)
from tests.furnace_papers import PROCEDURE, PROCEDURE_PAPER, figures_of
from tests.visits import PASSWORD

NOW = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
"""When the invented shop's records begin."""

TABLE_PAPER: dict[str, Any] = {
    "name": "Invented limits",
    "revision": "A",
    "entries": [
        {
            "alloy": "Q-77",
            "temper": "K1",
            "form": "plate",
            "thickness_mm": {
                "from": "6.0",
                "to": "40.0",
                "from_included": True,
                "to_included": True,
            },
            "surface": None,
            "decision": "simple",
            "source": "invented for the tests",
            "obtained": "invented",
            "criteria": [
                {
                    "quantity": "hardness",
                    "scale": "HRB",
                    "min": "83.0",
                    "max": None,
                    "statistic": "each",
                    "readings_min": 3,
                    "range_max": "3.0",
                    "rounding": "rounding",
                },
                {
                    "quantity": "conductivity",
                    "unit": "%IACS",
                    "statistic": "mean",
                    "readings_min": 3,
                    "rounding": "rounding",
                    "resolution": "0.1",
                    "zones": [
                        {"to": "36.9", "outcome": "reject"},
                        {
                            "from": "37.0",
                            "to": "37.9",
                            "outcome": "accept_if",
                            "also": [{"quantity": "yield_strength", "unit": "MPa", "max": "480"}],
                        },
                        {"from": "38.0", "to": "42.0", "outcome": "accept"},
                        {"from": "42.1", "outcome": "reject"},
                    ],
                },
            ],
        }
    ],
}
CYCLE_PAPER: dict[str, Any] = {
    "name": "Invented ageing, 150 degC",
    "temperature_unit": "C",
    "stages": [{"set": "150", "below": "3", "above": "3", "soak_min_s": 7200, "soak_max_s": None}],
    "max_gap_s": 120,
    "excursions": None,
    "heating_rate": None,
    "cooling_rate": None,
    "vacuum": {"column": "VAC", "min_kpa": "70", "from": "start", "to": "soak_end"},
    "ageing": None,
}
SHOP_RULES = {
    "sensors_per_panel": "2",
    "coupons_per_panel": "2",
    "leak_limit_kpa": "2.0",
    "leak_minutes": "5",
}


_BENCH = (Task.HARDNESS, Task.CONDUCTIVITY, Task.SURFACE_SEARCH)
TASKS: dict[Role, tuple[Task, ...]] = {
    Role.INSPECTOR: (*_BENCH, Task.RELEASE),
    Role.SUPERVISOR: (*_BENCH, Task.DISPOSITION, Task.VERIFICATION, Task.REPORT_REVIEW),
    Role.ENGINEER: (Task.REPORT_REVIEW,),
    Role.AUDITOR: (),
    Role.ADMINISTRATOR: (),
}
"""What everybody in the invented shop is authorised for, by role."""


@cache
def password_hash() -> str:
    """The hash of everybody's password, made once with a cheap cost."""
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)


def digest(paper: Any) -> str:
    """SHA-256 of a paper's text form."""
    return hashlib.sha256(paper_text(paper).encode()).hexdigest()


def bind(session: Session, *rows: Base, about: tuple[str, str] = ("test", "-")) -> None:
    """Put rows on record with a trail entry of their own."""
    for row in rows:
        session.add(row)
        session.flush()
    append(session, Tag.LOAD_PLANNED, by="maker", at=NOW, about=about, rows=rows)


class Shop:
    """An invented shop with one of everything. Attributes are ids and codes."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self._count = 0
        with database.write() as session:
            self.inspector = self._person(session, "mara", "Mara Quill", Role.INSPECTOR)
            self.second = self._person(session, "deniz", "Deniz Okoro", Role.INSPECTOR)
            self.supervisor = self._person(session, "ines", "Ines Valcourt", Role.SUPERVISOR)
            self.engineer = self._person(session, "tomas", "Tomas Brandl", Role.ENGINEER)
            self.auditor = self._person(session, "olek", "Olek Farrow", Role.AUDITOR)
            self.administrator = self._person(session, "rune", "Rune Adair", Role.ADMINISTRATOR)
            self.procedure_revision_id = self._requirement(
                session, PROCEDURE, RequirementKind.PYROMETRY_PROCEDURE, PROCEDURE_PAPER, {}
            )
            self.furnace_id = self._furnace(session)
            self.gauge_id = self.gauge(session, "VG-1")
            self.hardness_tester_id = self._tester(
                session, "HT-1", "hardness", "HRB", "85.0", "1.0"
            )
            self.meter_id = self._tester(session, "CM-1", "conductivity", "%IACS", "38.9", "0.5")
            self.table_revision_id = self._requirement(
                session, "AT-1", RequirementKind.ACCEPTANCE_TABLE, TABLE_PAPER, {}
            )
            self.cycle_revision_id = self._requirement(
                session, "CY-1", RequirementKind.CYCLE, CYCLE_PAPER, SHOP_RULES
            )
            self.lot_id = self.lot(session, "LOT-1")

    def _person(self, session: Session, username: str, name: str, *roles: Role) -> Actor:
        person = Person(
            username=username,
            full_name=name,
            roles=[role.value for role in roles],
            password_hash=password_hash(),
            active=True,
            added_at=NOW,
        )
        bind(session, person, about=("person", username))
        authorised = self.authorise(session, person, {t for role in roles for t in TASKS[role]})
        return Actor(person.id, username, name, frozenset(person.roles), authorised=authorised)

    def authorise(self, session: Session, person: Person, tasks: set[Task]) -> dict[str, int]:
        """Authorisations good for a century, granted by whoever was there before; id by task."""
        if not tasks:
            return {}
        signature = Signature(
            person_id=person.id,
            printed_name="Whoever was there before",
            meaning=Meaning.AUTHORISED,
            signed_at=NOW,
            content_sha256="0" * 64,
        )
        session.add(signature)
        session.flush()
        rows = [
            Authorisation(
                person_id=person.id,
                task=task,
                from_day=date(2026, 1, 1),
                last_day=date(2125, 12, 31),
                grounds="training record and eye test, invented for the tests",
                granted_by_id=person.id,
                granted_at=NOW,
                signature_id=signature.id,
            )
            for task in sorted(tasks)
        ]
        session.add_all(rows)
        session.flush()
        about = ("person", person.username)
        append(
            session,
            Tag.AUTHORISATION_GRANTED,
            by="maker",
            at=NOW,
            about=about,
            rows=[signature, *rows],
        )
        return {row.task.value: row.id for row in rows}

    def _identity(self, code: str, kind: str) -> Identity:
        return Identity(code=code, kind=kind, given_at=NOW)

    def _furnace(self, session: Session) -> int:
        furnace = Furnace(
            code="FN-1",
            name="Furnace one",
            furnace_class=1,
            uniformity_c=Decimal("3"),
            instrumentation_type="B",
            registered_by_id=self.engineer.id,
            registered_at=NOW,
        )
        bind(session, self._identity("FN-1", "furnace"), furnace)
        qualification = FurnaceQualification(
            furnace_id=furnace.id,
            procedure_id=self._procedure_id(session),
            furnace_class="1",
            instrumentation_type="B",
            in_force_from=date(2026, 1, 1),
            note="",
            entered_by_id=self.engineer.id,
            entered_at=NOW,
        )
        bind(session, qualification)
        self.reviewed(session, qualification_id=qualification.id)
        for kind in FurnaceCheckKind:
            self.furnace_check(session, furnace.id, kind)
        return furnace.id

    def _procedure_id(self, session: Session) -> int:
        revision = session.get_one(RequirementRevision, self.procedure_revision_id)
        return revision.requirement_id

    def furnace_check(
        self, session: Session, furnace_id: int, kind: FurnaceCheckKind, **changed: Any
    ) -> FurnaceCheck:
        """A passed check with its figures, made 2026-02-01, good until 2026-05-01, reviewed.

        ``changed`` columns stand instead; ``review`` None leaves it waiting, False rejects it.
        """
        review = changed.pop("review", True)
        given: dict[str, Any] = {
            "done_on": date(2026, 2, 1),
            "due_on": date(2026, 5, 1),
            "passed": True,
            "report": f"R-{kind.name}",
            "note": "",
            "entered_by_id": self.engineer.id,
            "entered_at": NOW,
            "made_to_class": "1",
            "made_to_type": "B",
            "interval": {
                "procedure": PROCEDURE,
                "revision": "A",
                "revision_id": self.procedure_revision_id,
                "every": "3 months",
                "last_day": "2026-05-01",
                "source": "invented for the tests",
            },
            "results": figures_of(kind),
        }
        check = FurnaceCheck(furnace_id=furnace_id, kind=kind, **(given | changed))
        bind(session, check)
        if review is not None:
            self.reviewed(session, furnace_check_id=check.id, accepted=review)
        return check

    def reviewed(self, session: Session, *, accepted: bool = True, **subject: int) -> None:
        """The supervisor's signed review of what the engineer entered."""
        signature = Signature(
            person_id=self.supervisor.id,
            printed_name=self.supervisor.full_name,
            meaning=Meaning.REVIEWED_REPORT,
            signed_at=NOW,
            content_sha256=digest(subject),
        )
        bind(session, signature)
        review = ReportReview(
            accepted=accepted,
            remark="",
            reviewed_by_id=self.supervisor.id,
            reviewed_at=NOW,
            signature_id=signature.id,
            **subject,
        )
        bind(session, review)

    def gauge(self, session: Session, code: str, **changed: Any) -> int:
        """A vacuum gauge with a reviewed certificate, in date from 2026-01-15 to 2027-01-15."""
        gauge = VacuumGauge(
            code=code,
            name=f"Bag gauge {code}",
            registered_by_id=self.engineer.id,
            registered_at=NOW,
        )
        bind(session, self._identity(code, "vacuum_gauge"), gauge)
        given: dict[str, Any] = {
            "done_on": date(2026, 1, 15),
            "due_on": date(2027, 1, 15),
            "certificate": f"GC-{code}",
            "largest_error_kpa": Decimal("0.5"),
            "entered_by_id": self.engineer.id,
            "entered_at": NOW,
        }
        certificate = GaugeCertificate(gauge_id=gauge.id, **(given | changed))
        bind(session, certificate)
        self.reviewed(session, gauge_certificate_id=certificate.id)
        return gauge.id

    def sensor(
        self, session: Session, code: str, *, done_on: date, due_on: date, review: bool = True
    ) -> Sensor:
        """A sensor of type N with a certificate without corrections, reviewed unless told not."""
        sensor = Sensor(
            code=code,
            thermocouple_type="N",
            registered_by_id=self.engineer.id,
            registered_at=NOW,
        )
        bind(session, self._identity(code, "sensor"), sensor)
        certificate = SensorCertificate(
            sensor_id=sensor.id,
            done_on=done_on,
            due_on=due_on,
            certificate=f"SC-{code}",
            corrections=[],
            entered_by_id=self.engineer.id,
            entered_at=NOW,
        )
        bind(session, certificate)
        if review:
            self.reviewed(session, sensor_certificate_id=certificate.id)
        return sensor

    def _tester(
        self, session: Session, code: str, quantity: str, unit: str, certified: str, error: str
    ) -> int:
        """A tester with the block it is checked on."""
        self.block(session, f"RB-{code}", quantity, unit, certified, error, certificate=f"C-{code}")
        return self.tester(session, code, quantity, unit)

    def tester(
        self,
        session: Session,
        code: str,
        quantity: str,
        unit: str,
        *,
        certificate: dict[str, Any] | None = None,
        **changed: Any,
    ) -> int:
        """A tester of fixed build, with a certificate from 2026-01-10 to 2027-01-10.

        ``changed`` are its columns, ``certificate`` what stands otherwise in the certificate.
        """
        given: dict[str, Any] = {
            "name": f"Tester {code}",
            "frequency_khz": Decimal("60") if quantity == "conductivity" else None,
            "build": Build.FIXED,
            "resolution": Decimal("0.1"),
        }
        tester = Tester(
            code=code,
            quantity=quantity,
            unit=unit,
            registered_by_id=self.engineer.id,
            registered_at=NOW,
            **(given | changed),
        )
        bind(session, self._identity(code, "tester"), tester)
        self.tester_certificate(session, tester.id, f"C-{code}-26", **(certificate or {}))
        return tester.id

    def tester_certificate(
        self, session: Session, tester_id: int, certificate: str, **changed: Any
    ) -> int:
        """A certificate from 2026-01-10 to 2027-01-10, reviewed, without as-found figures.

        ``changed`` columns stand instead; ``review`` None leaves it waiting, False rejects it.
        """
        review = changed.pop("review", True)
        given: dict[str, Any] = {
            "done_on": date(2026, 1, 10),
            "due_on": date(2027, 1, 10),
            "expanded_uncertainty": None,
            "entered_by_id": self.engineer.id,
            "entered_at": NOW,
        }
        row = TesterCertificate(tester_id=tester_id, certificate=certificate, **(given | changed))
        bind(session, row)
        if review is not None:
            self.reviewed(session, tester_certificate_id=row.id, accepted=review)
        return row.id

    def block(
        self,
        session: Session,
        code: str,
        quantity: str,
        unit: str,
        certified: str,
        error: str,
        **changed: Any,
    ) -> int:
        """A reference block for use until 2027-01-01, reviewed; its indents are not counted.

        ``changed`` columns stand instead; ``review`` None leaves it waiting, False rejects it.
        """
        review = changed.pop("review", True)
        given: dict[str, Any] = {"expires_on": date(2027, 1, 1), "certificate": f"C-{code}"}
        block = ReferenceBlock(
            code=code,
            quantity=quantity,
            unit=unit,
            certified_value=Decimal(certified),
            permitted_error=Decimal(error),
            registered_by_id=self.engineer.id,
            registered_at=NOW,
            **(given | changed),
        )
        bind(session, self._identity(code, "reference_block"), block)
        if review is not None:
            self.reviewed(session, block_id=block.id, accepted=review)
        return block.id

    def thermometer(self, session: Session, code: str, **changed: Any) -> int:
        """A thermometer with a certificate from 2026-01-15 to 2027-01-15, reviewed.

        ``changed`` columns of the certificate stand instead; ``review`` None leaves it waiting.
        """
        review = changed.pop("review", True)
        thermometer = Thermometer(
            code=code,
            name=f"Thermometer {code}",
            registered_by_id=self.engineer.id,
            registered_at=NOW,
        )
        bind(session, self._identity(code, "thermometer"), thermometer)
        given: dict[str, Any] = {
            "done_on": date(2026, 1, 15),
            "due_on": date(2027, 1, 15),
            "certificate": f"TC-{code}",
            "largest_error_c": Decimal("0.2"),
            "entered_by_id": self.engineer.id,
            "entered_at": NOW,
        }
        row = ThermometerCertificate(thermometer_id=thermometer.id, **(given | changed))
        bind(session, row)
        if review is not None:
            self.reviewed(session, thermometer_certificate_id=row.id, accepted=review)
        return thermometer.id

    def _requirement(
        self,
        session: Session,
        code: str,
        kind: RequirementKind,
        paper: dict[str, Any],
        rules: dict[str, str],
    ) -> int:
        requirement = Requirement(code=code, kind=kind, name=paper["name"])
        bind(session, self._identity(code, kind.value.replace(" ", "_")), requirement)
        revision = RequirementRevision(
            requirement_id=requirement.id,
            revision="A",
            paper=paper,
            paper_sha256=digest(paper),
            shop_rules=rules,
            source_document="invented for the tests",
            written_by_id=self.engineer.id,
            written_at=NOW,
        )
        bind(session, revision)
        signature = Signature(
            person_id=self.supervisor.id,
            printed_name=self.supervisor.full_name,
            meaning=Meaning.VERIFIED_TABLE,
            signed_at=NOW,
            content_sha256=digest(paper),
        )
        bind(session, signature)
        verification = RequirementVerification(
            revision_id=revision.id,
            verified_by_id=self.supervisor.id,
            verified_at=NOW,
            in_force_from=NOW - timedelta(days=30),
            signature_id=signature.id,
        )
        bind(session, verification)
        return revision.id

    def lot(self, session: Session, code: str) -> int:
        """A lot of 12.5 mm bare plate in Q-77."""
        lot = MaterialLot(
            code=code,
            alloy="Q-77",
            incoming_temper="W",
            form="plate",
            thickness_mm=Decimal("12.5"),
            surface="bare",
            cast="CAST-1",
            certificate="MC-1",
            received_on=date(2026, 2, 20),
            entered_by_id=self.inspector.id,
            entered_at=NOW,
        )
        bind(session, self._identity(code, "material_lot"), lot)
        return lot.id

    def panel(self, session: Session, code: str | None = None) -> Panel:
        """A registered panel of the shop's lot."""
        self._count += 1
        panel = Panel(
            code=code or f"P-{self._count:04d}",
            lot_id=self.lot_id,
            drawing="DRW-1",
            order_number="ORD-1",
            target_temper="K1",
            length_mm=Decimal("14000"),
            width_mm=Decimal("2600"),
            treatments_most=1,
            treatments_before=0,
            decided=Decided.OPEN,
            registered_by_id=self.inspector.id,
            registered_at=NOW,
        )
        bind(session, self._identity(panel.code, "panel"), panel, about=("panel", panel.code))
        return panel

    def coupon(self, session: Session, code: str) -> Coupon:
        """A coupon of the shop's lot, cut and marked."""
        coupon = Coupon(
            code=code,
            lot_id=self.lot_id,
            thickness_mm=Decimal("12.5"),
            surface="bare",
            registered_by_id=self.inspector.id,
            registered_at=NOW,
        )
        bind(session, self._identity(code, "coupon"), coupon, about=("coupon", code))
        self.custody(session, coupon, Custody.CUT)
        return coupon

    def custody(self, session: Session, coupon: Coupon, *steps: Custody) -> None:
        """Hand a coupon over, step by step."""
        for step in steps:
            bind(
                session,
                CustodyStep(
                    coupon_id=coupon.id,
                    step=step,
                    place="somewhere",
                    note="",
                    by_id=self.inspector.id,
                    taken_at=NOW,
                    entered_at=NOW,
                ),
                about=("coupon", coupon.code),
            )

    def panel_in_load(
        self, *, coupons: int = 2, sensors: int = 2, start: datetime = NOW
    ) -> tuple[Load, Panel, Sequence[Coupon], Sequence[LoadSensor]]:
        """A load of one new panel with coupons placed and sensors TC1, TC2, ... on it."""
        with self.database.write() as session:
            panel = self.panel(session)
            number = self._count
            load = Load(
                code=f"L-{number:04d}",
                furnace_id=self.furnace_id,
                cycle_revision_id=self.cycle_revision_id,
                planned_start=start,
                planned_end=start + timedelta(hours=6),
                vacuum_gauge_id=self.gauge_id,
                planned_by_id=self.engineer.id,
                planned_at=NOW,
            )
            bind(session, self._identity(load.code, "load"), load, about=("load", load.code))
            bind(
                session,
                LoadPanel(
                    load_id=load.id,
                    panel_id=panel.id,
                    table_revision_id=self.table_revision_id,
                    former="FORMER-1",
                    treatment_number=1,
                    x_mm=Decimal(0),
                    y_mm=Decimal(0),
                    turned=False,
                ),
            )
            placed = [
                self._placed(
                    session, load, panel, f"C-{number:04d}-{n + 1}", (n + 1) / (coupons + 1)
                )
                for n in range(coupons)
            ]
            fixed = [
                self._fixed(session, load, panel, n + 1, (n + 1) / (sensors + 1))
                for n in range(sensors)
            ]
            session.expunge_all()
        return load, panel, placed, fixed

    def _placed(self, session: Session, load: Load, panel: Panel, code: str, x: float) -> Coupon:
        coupon = self.coupon(session, code)
        self.custody(session, coupon, Custody.PLACED)
        seat = LoadCoupon(
            load_id=load.id,
            panel_id=panel.id,
            coupon_id=coupon.id,
            station=f"S{code[-1]}",
            x=Decimal(f"{x:.2f}"),
            y=Decimal("0.5"),
        )
        bind(session, seat)
        return coupon

    def _fixed(
        self, session: Session, load: Load, panel: Panel, number: int, x: float
    ) -> LoadSensor:
        sensor = self.sensor(
            session,
            f"TC-{load.code}-{number}",
            done_on=date(2026, 1, 5),
            due_on=date(2026, 7, 5),
        )
        seat = LoadSensor(
            load_id=load.id,
            sensor_id=sensor.id,
            panel_id=panel.id,
            channel=f"TC{number}",
            role=SensorRole.LOAD,
            station=f"T{number}",
            x=Decimal(f"{x:.2f}"),
            y=Decimal("0.3"),
        )
        bind(session, seat)
        return seat
