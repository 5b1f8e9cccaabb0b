"""What rests directly on what: every link that a doubt can spread along, as the records hold it.

A cancelled load was never run and links nothing. A reading links its session to its coupon even
where it was voided or corrected later, and an earlier load links its furnace to a panel that was
reworked since: what was once in doubt is looked at by a person, not dropped by the program. Of a
furnace record only the import in use links its mapping and who imported it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, TypeAlias

from sqlalchemy import Select, Text, literal, select, type_coerce
from sqlalchemy.orm import aliased

from app.bench.records import (
    Baseline,
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
    FurnaceCheck,
    FurnaceQualification,
    GaugeCertificate,
    MaintenanceEvent,
    ReportReview,
    SensorCertificate,
    TesterCertificate,
    ThermometerCertificate,
)
from app.loads.queries import goes_ahead, in_use
from app.loads.records import (
    FurnaceRecord,
    LayoutConfirmation,
    LeakCheck,
    Load,
    LoadCoupon,
    LoadEnd,
    LoadPanel,
    LoadSensor,
    LoadStart,
    LotException,
    SensorExclusion,
    Unwrapping,
)
from app.loads.trouble_records import CouponTrouble, TroubleAnswer
from app.panels.records import (
    Coupon,
    CustodyStep,
    HoldOn,
    LotCorrection,
    LotCorrectionAnswer,
    MaterialLot,
    Panel,
    PanelDescent,
)
from app.release.records import Decision
from app.requirements.records import (
    Requirement,
    RequirementKind,
    RequirementRevision,
    RequirementVerification,
    SecondKeying,
)

PANEL, COUPON, SESSION, REVISION = "panel", "coupon", "session", "revision"
"""Kinds of things that links run through besides those of :class:`HoldOn`."""
LOAD, PERSON = HoldOn.LOAD.value, HoldOn.PERSON.value

AnySelect: TypeAlias = Select[*tuple[Any, ...]]
"""A statement whose columns are more than its type says."""
When = Literal["row", "target"]
"""Where a link has its time: in the row that makes it, or in the load or session it leads to."""


@dataclass(frozen=True, slots=True)
class Link:
    """One kind of link. ``query`` selects the key of the source, of the target, and the row's time.

    ``when`` is None for a link without a time: a window of time does not limit it.
    """

    source: str
    target: str
    query: AnySelect
    when: When | None = None


_TABLE, _CYCLE, _MAPPING, _PROCEDURE, _CORRECTION = (
    HoldOn.ACCEPTANCE_TABLE.value,
    HoldOn.CYCLE.value,
    HoldOn.LOGGER_MAPPING.value,
    HoldOn.PYROMETRY_PROCEDURE.value,
    HoldOn.CORRECTION_TABLE.value,
)
_LOT, _FURNACE, _SENSOR, _GAUGE, _TESTER, _BLOCK, _THERMOMETER = (
    HoldOn.MATERIAL_LOT.value,
    HoldOn.FURNACE.value,
    HoldOn.SENSOR.value,
    HoldOn.VACUUM_GAUGE.value,
    HoldOn.TESTER.value,
    HoldOn.REFERENCE_BLOCK.value,
    HoldOn.THERMOMETER.value,
)


def _of_material() -> Iterator[Link]:
    """Lots, the coupons and panels cut from them, and panels that came from panels."""
    yield Link(_LOT, PANEL, select(Panel.lot_id, Panel.id))
    yield Link(_LOT, COUPON, select(Coupon.lot_id, Coupon.id))
    rode = select(LoadCoupon.coupon_id, LoadCoupon.panel_id)
    yield Link(COUPON, PANEL, rode.where(goes_ahead(LoadCoupon.load_id)))
    spare = select(TroubleAnswer.spare_id, CouponTrouble.panel_id).join(
        CouponTrouble, CouponTrouble.id == TroubleAnswer.trouble_id
    )
    yield Link(COUPON, PANEL, spare.where(TroubleAnswer.spare_id.is_not(None)))
    yield Link(PANEL, PANEL, select(PanelDescent.parent_id, PanelDescent.panel_id))


def _of_loads() -> Iterator[Link]:
    """Loads, and what was in them."""
    inside = select(LoadPanel.load_id, LoadPanel.panel_id)
    yield Link(LOAD, PANEL, inside.where(goes_ahead(LoadPanel.load_id)))
    for kind, query in (
        (_FURNACE, select(Load.furnace_id, Load.id)),
        (_GAUGE, select(Load.vacuum_gauge_id, Load.id).where(Load.vacuum_gauge_id.is_not(None))),
        (REVISION, select(Load.cycle_revision_id, Load.id)),
    ):
        yield Link(kind, LOAD, query.where(goes_ahead(Load.id)), "target")
    sat = select(LoadSensor.sensor_id, LoadSensor.load_id)
    yield Link(_SENSOR, LOAD, sat.where(goes_ahead(LoadSensor.load_id)), "target")
    checked = select(LeakCheck.gauge_id, LeakCheck.panel_id, LeakCheck.taken_at).where(
        LeakCheck.gauge_id.is_not(None), goes_ahead(LeakCheck.load_id)
    )
    yield Link(_GAUGE, PANEL, checked, "row")
    judged = (
        select(LoadPanel.table_revision_id, LoadPanel.panel_id, Load.planned_start)
        .join(Load, Load.id == LoadPanel.load_id)
        .where(goes_ahead(LoadPanel.load_id))
    )
    yield Link(REVISION, PANEL, judged, "row")
    read = select(
        FurnaceRecord.mapping_revision_id, FurnaceRecord.load_id, FurnaceRecord.imported_at
    ).where(FurnaceRecord.mapping_revision_id.is_not(None), in_use())
    yield Link(REVISION, LOAD, read.where(goes_ahead(FurnaceRecord.load_id)), "row")


def _of_the_bench() -> Iterator[Link]:
    """Sessions, what they were held with, and what was measured in them."""
    yield Link(_TESTER, SESSION, select(BenchSession.tester_id, BenchSession.id), "target")
    with_one = BenchSession.thermometer_id.is_not(None)
    measured_with = select(BenchSession.thermometer_id, BenchSession.id).where(with_one)
    yield Link(_THERMOMETER, SESSION, measured_with, "target")
    yield Link(_BLOCK, SESSION, select(BlockCheck.block_id, BlockCheck.session_id), "target")
    read = select(Reading.session_id, Reading.coupon_id).where(Reading.session_id.is_not(None))
    yield Link(SESSION, COUPON, read)
    yield Link(SESSION, COUPON, select(Baseline.session_id, Baseline.coupon_id))


def _of_papers() -> Iterator[Link]:
    """Papers: their revisions, the furnaces they govern, and the tables that ask for them."""
    of_kind = {
        _TABLE: RequirementKind.ACCEPTANCE_TABLE,
        _CYCLE: RequirementKind.CYCLE,
        _MAPPING: RequirementKind.LOGGER_MAPPING,
    }
    for kind, which in of_kind.items():
        revisions = select(RequirementRevision.requirement_id, RequirementRevision.id).join(
            Requirement, Requirement.id == RequirementRevision.requirement_id
        )
        yield Link(kind, REVISION, revisions.where(Requirement.kind == which))
    for kind, which in (
        (_PROCEDURE, RequirementKind.PYROMETRY_PROCEDURE),
        (_CORRECTION, RequirementKind.CORRECTION_TABLE),
    ):
        whole = select(RequirementRevision.id, RequirementRevision.requirement_id).join(
            Requirement, Requirement.id == RequirementRevision.requirement_id
        )
        yield Link(REVISION, kind, whole.where(Requirement.kind == which))
    governed = select(FurnaceQualification.procedure_id, FurnaceQualification.furnace_id)
    yield Link(_PROCEDURE, _FURNACE, governed)
    named = aliased(Requirement)
    # A paper's one text form has no spaces, so that the name stands in it in this way only.
    asks = literal('"correction":"') + named.code + literal('"')
    asking = (
        select(named.id, RequirementRevision.id)
        .join(named, type_coerce(RequirementRevision.paper, Text).contains(asks))
        .where(named.kind == RequirementKind.CORRECTION_TABLE)
    )
    yield Link(_CORRECTION, REVISION, asking)


def _of_people() -> Iterator[Link]:
    """What rests on a person's word: what they measured, entered, reviewed, verified, decided."""
    for target, one in (
        (COUPON, select(Reading.taken_by_id, Reading.coupon_id, Reading.taken_at)),
        (COUPON, select(Baseline.taken_by_id, Baseline.coupon_id, Baseline.taken_at)),
        (COUPON, select(CustodyStep.by_id, CustodyStep.coupon_id, CustodyStep.taken_at)),
        (COUPON, select(Coupon.registered_by_id, Coupon.id, Coupon.registered_at)),
        (COUPON, select(Retest.opened_by_id, Retest.coupon_id, Retest.opened_at)),
        *((COUPON, query) for query in _changes()),
        (SESSION, select(BenchSession.operator_id, BenchSession.id, BenchSession.opened_at)),
        (SESSION, select(BlockCheck.by_id, BlockCheck.session_id, BlockCheck.taken_at)),
        *((LOAD, query) for query in _hands_in_loads()),
        *((PANEL, query) for query in _hands_on_panels()),
        (_LOT, select(MaterialLot.entered_by_id, MaterialLot.id, MaterialLot.entered_at)),
        (_LOT, _row(LotCorrection, "asked", LotCorrection.lot_id)),
        (
            _LOT,
            _row(LotCorrectionAnswer, "answered", LotCorrection.lot_id).join(
                LotCorrection, LotCorrection.id == LotCorrectionAnswer.correction_id
            ),
        ),
        (REVISION, _row(RequirementRevision, "written", RequirementRevision.id)),
        (REVISION, _row(RequirementVerification, "verified", RequirementVerification.revision_id)),
        (REVISION, _row(SecondKeying, "keyed", SecondKeying.revision_id)),
        *_papers_of_equipment(),
    ):
        yield Link(PERSON, target, one, "row")


def _row(row: Any, did: str, target: Any) -> AnySelect:
    """Who did it (``<did>_by_id``), to what, and when (``<did>_at``)."""
    return select(getattr(row, f"{did}_by_id"), target, getattr(row, f"{did}_at"))


def _changes() -> Iterator[AnySelect]:
    """Corrections and voids of readings, asked for and answered."""
    for asked, answered in ((CorrectionRequest, CorrectionAnswer), (VoidRequest, VoidAnswer)):
        reading = Reading.id == asked.reading_id
        yield _row(asked, "asked", Reading.coupon_id).join(Reading, reading)
        yield (
            _row(answered, "answered", Reading.coupon_id)
            .join(asked, asked.id == answered.request_id)
            .join(Reading, reading)
        )


def _hands_in_loads() -> Iterator[AnySelect]:
    yield _row(Load, "planned", Load.id).where(goes_ahead(Load.id))
    for row in (LoadStart, LoadEnd):
        yield _row_by(row, row.load_id, row.entered_at)
    imported = _row(FurnaceRecord, "imported", FurnaceRecord.load_id)
    yield imported.where(in_use(), goes_ahead(FurnaceRecord.load_id))
    yield _row_by(LayoutConfirmation, FurnaceRecord.load_id, LayoutConfirmation.at).join(
        FurnaceRecord, FurnaceRecord.id == LayoutConfirmation.record_id
    )
    yield _row_by(SensorExclusion, LoadSensor.load_id, SensorExclusion.at).join(
        LoadSensor, LoadSensor.id == SensorExclusion.load_sensor_id
    )


def _row_by(row: Any, target: Any, at: Any) -> AnySelect:
    return select(row.by_id, target, at)


def _hands_on_panels() -> Iterator[AnySelect]:
    for row in (LeakCheck, Unwrapping):
        yield _row_by(row, row.panel_id, row.taken_at).where(goes_ahead(row.load_id))
    yield _row_by(LotException, LotException.panel_id, LotException.at)
    yield _row_by(PanelDescent, PanelDescent.panel_id, PanelDescent.at)
    yield _row(CouponTrouble, "reported", CouponTrouble.panel_id)
    yield _row(TroubleAnswer, "answered", CouponTrouble.panel_id).join(
        CouponTrouble, CouponTrouble.id == TroubleAnswer.trouble_id
    )
    yield _row(Panel, "registered", Panel.id)
    yield _row(Decision, "decided", Decision.panel_id)


def _papers_of_equipment() -> Iterator[tuple[str, AnySelect]]:
    """Checks and certificates that a person entered, and those that they reviewed."""
    for kind, row, thing, reviewed in (
        (_FURNACE, FurnaceCheck, FurnaceCheck.furnace_id, ReportReview.furnace_check_id),
        (
            _FURNACE,
            FurnaceQualification,
            FurnaceQualification.furnace_id,
            ReportReview.qualification_id,
        ),
        (
            _SENSOR,
            SensorCertificate,
            SensorCertificate.sensor_id,
            ReportReview.sensor_certificate_id,
        ),
        (_GAUGE, GaugeCertificate, GaugeCertificate.gauge_id, ReportReview.gauge_certificate_id),
        (
            _TESTER,
            TesterCertificate,
            TesterCertificate.tester_id,
            ReportReview.tester_certificate_id,
        ),
        (
            _THERMOMETER,
            ThermometerCertificate,
            ThermometerCertificate.thermometer_id,
            ReportReview.thermometer_certificate_id,
        ),
    ):
        yield kind, _row(row, "entered", thing)
        yield kind, _row(ReportReview, "reviewed", thing).join(row, row.id == reviewed)
    yield _FURNACE, _row(MaintenanceEvent, "entered", MaintenanceEvent.furnace_id)
    yield (
        _BLOCK,
        _row(ReportReview, "reviewed", ReportReview.block_id).where(
            ReportReview.block_id.is_not(None)
        ),
    )


LINKS = (*_of_material(), *_of_loads(), *_of_the_bench(), *_of_papers(), *_of_people())


@cache
def links_beyond(kinds: frozenset[str]) -> tuple[Link, ...]:
    """The links that a doubt about something of these kinds can run along."""
    known = set(kinds)
    while True:
        onward = tuple(link for link in LINKS if link.source in known)
        reached = known | {link.target for link in onward}
        if reached == known:
            return onward
        known = reached
