"""Pairs that differ by the kind of thing alone: reports to review, papers to key and to verify."""

import hashlib
import json
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from sqlalchemy import inspect, select

from app.audit.records import Identity
from app.equipment import queries as equipment
from app.equipment.queries import Subject, SubjectKind
from app.equipment.records import (
    FurnaceCheck,
    FurnaceQualification,
    GaugeCertificate,
    ReferenceBlock,
    SensorCertificate,
    TesterCertificate,
    ThermometerCertificate,
)
from app.people.rights import Hand
from app.requirements import queries as requirements
from app.requirements import service as writing
from app.requirements.pages import keyed as keying_page
from app.requirements.records import RequirementKind
from app.requirements.rules import ShopRules, values
from app.requirements.service import KINDS, Named
from tests.makers import CYCLE_PAPER, NOW, TABLE_PAPER, bind
from tests.requirements.papers import EXPORT, keyed_if_asked, mapping, procedure, written
from tests.requirements.test_corrections import CURVED
from tests.rights.pairs import TwoPeople
from tests.rights.second import SAID, Second

_REPORTS: dict[SubjectKind, type[Any]] = {
    SubjectKind.FURNACE_CHECK: FurnaceCheck,
    SubjectKind.QUALIFICATION: FurnaceQualification,
    SubjectKind.SENSOR_CERTIFICATE: SensorCertificate,
    SubjectKind.GAUGE_CERTIFICATE: GaugeCertificate,
    SubjectKind.TESTER_CERTIFICATE: TesterCertificate,
    SubjectKind.THERMOMETER_CERTIFICATE: ThermometerCertificate,
    SubjectKind.BLOCK: ReferenceBlock,
}


def of_every_kind(two: TwoPeople) -> Iterator[tuple[str, Callable[[], Second]]]:
    """Each pair by name; a call does the first half as the first person."""
    with two.database.write() as session:
        two.shop.sensor(session, "TC-REVIEWED", done_on=date(2026, 1, 5), due_on=date(2026, 7, 5))
        two.shop.thermometer(session, "TH-1")
    for kind in SubjectKind:
        yield f"enters and reviews a {kind.value}", partial(_entered, two, kind)
    for paper, of_paper in KINDS.items():
        yield f"writes and verifies a {paper.value}", partial(_to_verify, two, paper)
        if of_paper.keyed:
            yield f"writes and keys a {paper.value}", partial(_to_key, two, paper)
            yield f"writes a {paper.value} and reads it to key", partial(_to_read, two, paper)
            yield f"writes a {paper.value} and has its paper", partial(_paper, two, paper)
    yield "writes a table and asks what if", partial(_what_if, two)


def _entered(two: TwoPeople, kind: SubjectKind) -> Second:
    """The newest report of the kind once more, entered by the first person."""
    model, code = _REPORTS[kind], "RB-OWN"
    with two.database.write() as session:
        known = session.scalars(select(model).order_by(model.id.desc()).limit(1)).one()
        columns = {one.key: getattr(known, one.key) for one in inspect(model).column_attrs}
        del columns["id"]
        if kind is SubjectKind.BLOCK:
            columns |= {"code": code, "registered_by_id": two.own.id}
            bind(session, Identity(code=code, kind="reference_block", given_at=NOW))
        else:
            columns["entered_by_id"] = two.own.id
        report = model(**columns)
        bind(session, report)
        _, code = equipment.report(session, Subject(kind, report.id)).about
        address = kind.address.replace("{code:path}", code)
        sent = {"answer": "accept", "remark": SAID}
        return Second(Hand.ENTERED, f"{address}/{report.id}/review", sent)


def _draft(two: TwoPeople, kind: RequirementKind, for_what: str) -> Named:
    """A revision of a new paper of the kind, written by the first person."""
    code = f"{kind.name[:2]}-{for_what}"
    said: dict[str, Any] = {
        "code": code,
        "filename": "paper.json",
        "source_document": "invented document",
        "by": two.own,
        "at": NOW,
    }
    database = two.database
    if kind is RequirementKind.ACCEPTANCE_TABLE:
        return writing.write_table(database, paper=json.dumps(TABLE_PAPER), **said)
    if kind is RequirementKind.CYCLE:
        rules = ShopRules(2, 2, Decimal("2.0"), Decimal(5))
        paper = json.dumps(CYCLE_PAPER)
        return writing.write_cycle(database, revision="A", paper=paper, shop_rules=rules, **said)
    if kind is RequirementKind.PYROMETRY_PROCEDURE:
        return writing.write_procedure(database, paper=procedure(), **said)
    if kind is RequirementKind.LOGGER_MAPPING:
        return writing.write_mapping(database, revision="A", paper=mapping(), **said)
    return writing.write_correction_table(database, paper=json.dumps(CURVED), **said)


def _to_verify(two: TwoPeople, kind: RequirementKind) -> Second:
    named = _draft(two, kind, "VERIFIED")
    keyed_if_asked(two.database, named)
    compared = [one.anchor for one in requirements.parts_of(written(two.database, named))]
    sent: dict[str, Any] = {"revision": named.revision, "attempt": "1", "compared": compared}
    if kind is RequirementKind.LOGGER_MAPPING:
        sent["compared"] = [*compared, "sample"]
        sent["sample_name"] = "export.csv"
        sent["sample_sha256"] = hashlib.sha256(EXPORT).hexdigest()
    return Second(Hand.WROTE, f"{KINDS[kind].place}/{named.code}/verify", sent)


def _to_key(two: TwoPeople, kind: RequirementKind) -> Second:
    named = _draft(two, kind, "KEYED")
    asked = writing.asked_of(written(two.database, named))
    places, right = keying_page._fields(asked), values(asked)
    cells = {name: right[place] for name, place in places.items()}
    sent = {"revision": named.revision, "attempt": "1", **cells}
    return Second(Hand.WROTE, f"{KINDS[kind].place}/{named.code}/keying", sent)


def _to_read(two: TwoPeople, kind: RequirementKind) -> Second:
    named = _draft(two, kind, "READ")
    address = f"{KINDS[kind].place}/{named.code}/keying?revision={named.revision}"
    return Second(Hand.WROTE, address, method="GET")


def _paper(two: TwoPeople, kind: RequirementKind) -> Second:
    named = _draft(two, kind, "SHOWN")
    address = f"{KINDS[kind].place}/{named.code}/paper?revision={named.revision}"
    return Second(Hand.DRAFT, address, method="GET", own=True, person=True)


def _what_if(two: TwoPeople) -> Second:
    named = _draft(two, RequirementKind.ACCEPTANCE_TABLE, "WHAT-IF")
    address = f"/what-if?table={named.code}&revision={named.revision}"
    return Second(Hand.DRAFT, address, method="GET", own=True, person=True)
