"""Where one person did what two are needed for, along everything a panel's loads rest on.

One statement for any number of panels. It brings only what is amiss: the same account on both
sides, or two accounts with one identity number. Services refuse both as they happen;
what is found here was found out later.
"""

from collections import defaultdict
from collections.abc import Collection
from datetime import date, tzinfo
from typing import Any

from sqlalchemy import (
    BindParameter,
    Date,
    DateTime,
    Row,
    Text,
    bindparam,
    cast,
    literal,
    null,
    or_,
    select,
    type_coerce,
    union_all,
)
from sqlalchemy.orm import Session, aliased

from app.bench.records import (
    BenchSession,
    BlockCheck,
    CorrectionAnswer,
    CorrectionRequest,
    Reading,
    Retest,
    VoidAnswer,
    VoidRequest,
)
from app.equipment.records import (
    Furnace,
    FurnaceCheck,
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
from app.loads.queries import goes_ahead, in_use
from app.loads.records import (
    FurnaceRecord,
    LayoutConfirmation,
    LeakCheck,
    Load,
    LoadCoupon,
    LoadPanel,
    LoadSensor,
)
from app.loads.trouble_records import CouponTrouble, TroubleAnswer
from app.panels.records import Coupon, LotCorrection, LotCorrectionAnswer, MaterialLot, Panel
from app.people.records import Person
from app.release.rules.facts import AloneFacts
from app.requirements.records import (
    Requirement,
    RequirementRevision,
    RequirementVerification,
    SecondKeying,
)

_panel_ids: BindParameter[Any] = bindparam("panel_ids", expanding=True)

_LONG_AGO, _FOR_GOOD = date(1900, 1, 1), date(2999, 12, 31)

Seat = tuple[int, int]
"""The keys of a panel and of a load it is in."""


def alone_on(
    session: Session, panel_ids: Collection[int], *, zone: tzinfo
) -> dict[Seat, tuple[AloneFacts, ...]]:
    """What one person did alone, by panel and load; seats without any are left out.

    Of reports those count that were in date on the shop's day they were needed.
    """
    connection = session.connection()
    amiss = [
        row
        for row in connection.execute(_STATEMENT, {"panel_ids": list(panel_ids)})
        if row.used_at is None or _in_date(row, row.used_at.astimezone(zone).date())
    ]
    if not amiss:
        return {}
    known = connection.execute(select(Person.id, Person.full_name))
    names = {row.id: row.full_name for row in known}
    found: dict[Seat, dict[AloneFacts, None]] = defaultdict(dict)
    for row in amiss:
        told = AloneFacts(f"{row.what} {row.code}", names[row.first_id], names[row.second_id])
        found[row.panel_id, row.load_id][told] = None
    return {seat: tuple(told) for seat, told in found.items()}


def _in_date(row: Row[Any], day: date) -> bool:
    since: date = row.since
    until: date = row.until
    return since <= day <= until


def _number_of(account_id: Any) -> Any:
    """The identity number of the account's person; null where none is known."""
    person = aliased(Person)
    return select(person.identity_number).where(person.id == account_id).scalar_subquery()


_UNDATED = {
    "used_at": type_coerce(cast(null(), DateTime(timezone=True)), Load.planned_start.type),
    "since": cast(null(), Date),
    "until": cast(null(), Date),
}


def _pair(
    what: str, code: Any, first: Any, second: Any, *joined: Any, seat: Any, **dates: Any
) -> Any:
    """One kind of pair that is amiss, on the panels asked for, in loads that went ahead."""
    return select(
        seat.panel_id.label("panel_id"),
        seat.load_id.label("load_id"),
        literal(what).label("what"),
        code.label("code"),
        first.label("first_id"),
        second.label("second_id"),
        *(column.label(name) for name, column in (dates or _UNDATED).items()),
    ).where(
        *joined,
        or_(first == second, _number_of(first) == _number_of(second)),
        seat.panel_id.in_(_panel_ids),
        goes_ahead(seat.load_id),
    )


_IN_USE = (FurnaceRecord.load_id == LoadPanel.load_id, in_use())
_REVISION = (Requirement.id == RequirementRevision.requirement_id,)
_WRITER = RequirementRevision.written_by_id
_GOVERNING = {
    "table": (RequirementRevision.id == LoadPanel.table_revision_id,),
    "cycle": (Load.id == LoadPanel.load_id, RequirementRevision.id == Load.cycle_revision_id),
    "mapping": (*_IN_USE, RequirementRevision.id == FurnaceRecord.mapping_revision_id),
}


def _of_requirements() -> list[Any]:
    verified = RequirementVerification
    pairs = []
    for kind, joined in _GOVERNING.items():
        pairs.append(
            _pair(
                f"Writing and verifying {kind}",
                Requirement.code,
                _WRITER,
                verified.verified_by_id,
                *joined,
                *_REVISION,
                verified.revision_id == RequirementRevision.id,
                seat=LoadPanel,
            )
        )
        pairs.append(
            _pair(
                f"Writing and keying again {kind}",
                Requirement.code,
                _WRITER,
                SecondKeying.keyed_by_id,
                *joined,
                *_REVISION,
                SecondKeying.revision_id == RequirementRevision.id,
                seat=LoadPanel,
            )
        )
    return pairs


_READ = (Coupon.id == LoadCoupon.coupon_id, Reading.coupon_id == LoadCoupon.coupon_id)
_VOID = (
    *_READ,
    VoidRequest.reading_id == Reading.id,
    VoidAnswer.request_id == VoidRequest.id,
)
_CORRECTION = (
    *_READ,
    CorrectionRequest.reading_id == Reading.id,
    CorrectionAnswer.request_id == CorrectionRequest.id,
)


def _of_readings() -> list[Any]:
    first = aliased(Reading)
    void, corrected = VoidAnswer.answered_by_id, CorrectionAnswer.answered_by_id
    taken, seat = Reading.taken_by_id, LoadCoupon
    asked = CorrectionRequest.asked_by_id
    return [
        _pair(
            "Asking for and answering a void on",
            Coupon.code,
            VoidRequest.asked_by_id,
            void,
            *_VOID,
            seat=seat,
        ),
        _pair("Taking a reading and voiding it on", Coupon.code, taken, void, *_VOID, seat=seat),
        _pair(
            "Asking for and answering a correction on",
            Coupon.code,
            asked,
            corrected,
            *_CORRECTION,
            seat=seat,
        ),
        _pair(
            "Taking a reading and answering its correction on",
            Coupon.code,
            taken,
            corrected,
            *_CORRECTION,
            seat=seat,
        ),
        _pair(
            "Measuring first and at the retest by another person on",
            Coupon.code,
            first.taken_by_id,
            taken,
            *_READ,
            Retest.id == Reading.retest_id,
            type_coerce(Retest.plan, Text).contains('"by_another":true'),
            first.coupon_id == Retest.coupon_id,
            first.retest_id.is_(None),
            seat=seat,
        ),
    ]


def _of_the_run() -> list[Any]:
    return [
        _pair(
            "Asking for and approving a correction of lot",
            MaterialLot.code,
            LotCorrection.asked_by_id,
            LotCorrectionAnswer.answered_by_id,
            Panel.id == LoadPanel.panel_id,
            MaterialLot.id == Panel.lot_id,
            LotCorrection.lot_id == Panel.lot_id,
            LotCorrectionAnswer.correction_id == LotCorrection.id,
            LotCorrectionAnswer.approved,
            seat=LoadPanel,
        ),
        _pair(
            "Bringing in and confirming the furnace record of",
            Load.code,
            FurnaceRecord.imported_by_id,
            LayoutConfirmation.by_id,
            Load.id == LoadPanel.load_id,
            *_IN_USE,
            LayoutConfirmation.record_id == FurnaceRecord.id,
            seat=LoadPanel,
        ),
        _pair(
            "Reporting and answering a coupon in doubt in",
            Load.code,
            CouponTrouble.reported_by_id,
            TroubleAnswer.answered_by_id,
            Load.id == CouponTrouble.load_id,
            TroubleAnswer.trouble_id == CouponTrouble.id,
            seat=CouponTrouble,
        ),
    ]


def _report(thing: Any, paper: Any, key: Any, *joined: Any, seat: Any, used_at: Any) -> Any:
    """Reports of a thing that were entered and accepted by one person."""
    return _pair(
        "Entering and accepting a report of",
        thing.code,
        paper.entered_by_id,
        ReportReview.reviewed_by_id,
        *joined,
        key == paper.id,
        ReportReview.accepted.is_(True),
        seat=seat,
        used_at=used_at,
        since=paper.done_on,
        until=paper.due_on,
    )


_LOADED = (Load.id == LoadPanel.load_id,)
_AT = {"seat": LoadPanel, "used_at": Load.planned_start}
_FURNACE = (*_LOADED, Furnace.id == Load.furnace_id)
_BENCH = (
    Reading.coupon_id == LoadCoupon.coupon_id,
    BenchSession.id == Reading.session_id,
)
_MEASURED = {"seat": LoadCoupon, "used_at": Reading.taken_at}
_REPORTS = (
    _report(
        Furnace,
        FurnaceCheck,
        ReportReview.furnace_check_id,
        *_FURNACE,
        FurnaceCheck.furnace_id == Furnace.id,
        **_AT,
    ),
    _pair(
        "Entering and accepting the qualification of",
        Furnace.code,
        FurnaceQualification.entered_by_id,
        ReportReview.reviewed_by_id,
        *_FURNACE,
        FurnaceQualification.furnace_id == Furnace.id,
        ReportReview.qualification_id == FurnaceQualification.id,
        ReportReview.accepted.is_(True),
        **_AT,
        since=FurnaceQualification.in_force_from,
        # It is good until another takes its place; an earlier one is counted with it.
        until=literal(_FOR_GOOD),
    ),
    _report(
        Sensor,
        SensorCertificate,
        ReportReview.sensor_certificate_id,
        *_LOADED,
        LoadSensor.load_id == Load.id,
        Sensor.id == LoadSensor.sensor_id,
        SensorCertificate.sensor_id == Sensor.id,
        **_AT,
    ),
    *(
        _report(
            VacuumGauge,
            GaugeCertificate,
            ReportReview.gauge_certificate_id,
            *_LOADED,
            *joined,
            GaugeCertificate.gauge_id == VacuumGauge.id,
            **_AT,
        )
        for joined in (
            (VacuumGauge.id == Load.vacuum_gauge_id,),
            (
                LeakCheck.load_id == Load.id,
                LeakCheck.panel_id == LoadPanel.panel_id,
                VacuumGauge.id == LeakCheck.gauge_id,
            ),
        )
    ),
    _report(
        Tester,
        TesterCertificate,
        ReportReview.tester_certificate_id,
        *_BENCH,
        Tester.id == BenchSession.tester_id,
        TesterCertificate.tester_id == Tester.id,
        **_MEASURED,
    ),
    _report(
        Thermometer,
        ThermometerCertificate,
        ReportReview.thermometer_certificate_id,
        *_BENCH,
        Thermometer.id == BenchSession.thermometer_id,
        ThermometerCertificate.thermometer_id == Thermometer.id,
        **_MEASURED,
    ),
    _pair(
        "Entering and accepting the certificate of",
        ReferenceBlock.code,
        ReferenceBlock.registered_by_id,
        ReportReview.reviewed_by_id,
        *_BENCH,
        BlockCheck.session_id == BenchSession.id,
        ReferenceBlock.id == BlockCheck.block_id,
        ReportReview.block_id == ReferenceBlock.id,
        ReportReview.accepted.is_(True),
        **_MEASURED,
        since=literal(_LONG_AGO),
        until=ReferenceBlock.expires_on,
    ),
)
_STATEMENT = union_all(*_REPORTS, *_of_requirements(), *_of_readings(), *_of_the_run())
