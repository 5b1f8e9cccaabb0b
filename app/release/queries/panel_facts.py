"""Gather everything a decision on a panel rests on, for one panel or many at once.

A list of two hundred panels asks as often as one panel. Papers that never change (acceptance
tables, cycles, verdicts) are read once and kept in memory under their digest or text.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import tzinfo
from decimal import Decimal
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from app.documents.table import table_from_json
from app.errors import NotFound, Refusal
from app.judging.verdict import Finding, Outcome, Verdict
from app.judging.witness.acceptance import Surface, Table
from app.judging.witness.coupon import Coupon
from app.judging.witness.coupons import find_entry
from app.loads.evidence import findings_of_panels
from app.loads.rules import accepted_words
from app.loads.trouble_records import TroubleKind
from app.panels.queries import forebears
from app.release.queries import statements
from app.release.queries.dependants import upstream_holds_on
from app.release.queries.kept_verdicts import channels_of, findings_of
from app.release.queries.open_nonconformances import open_nonconformances
from app.release.queries.two_people import Seat, alone_on
from app.release.rules.facts import (
    AloneFacts,
    CouponFacts,
    CustodyFacts,
    DecisionFacts,
    DecisionKind,
    EarlierSelf,
    HoldFacts,
    LeakFacts,
    LoadFacts,
    NonconformanceFacts,
    PanelFacts,
    RecordFacts,
    RevisionFacts,
    TroubleFacts,
    UnwrappingFacts,
    UpstreamFacts,
)
from app.requirements.records import RequirementRevision

Rows = Sequence[Row[Any]]
Piece = tuple[str, str, str, Decimal, str]
"""Alloy, temper wanted, form, thickness and surface."""
Place = tuple[str | None, int | None]
"""The one table entry for a piece, as spoken, and its place from 1; None: no entry, or two."""


def panel_facts(
    session: Session,
    panel_ids: Iterable[int],
    *,
    zone: tzinfo,
    in_full: bool | Collection[int] = False,
) -> dict[int, PanelFacts]:
    """Facts by panel id, for the ids that exist. As many queries for many panels as for one.

    ``zone`` is the shop's: a furnace's papers are due on its calendar days. ``in_full`` also
    brings the findings of coupons, and of records that do not conform, which lists do without, of
    every panel or of those named; outcomes are the same either way.
    """
    ids = sorted(set(panel_ids))
    if not ids:
        return {}

    # Straight on the connection: rows of columns need none of the session's object keeping.
    connection = session.connection()

    def rows(statement: Any, **keys: Any) -> Rows:
        return connection.execute(statement, keys).all()

    # What a panel went through as part of another, or under another mark, it went through itself.
    lines = forebears(session, ids)
    lives = sorted({*ids, *(one for line in lines.values() for one in line)})
    told = set(ids if in_full is True else in_full or ())
    told |= {one for key in told for one in lines.get(key, ())}
    panels = rows(statements.PANELS, panel_ids=lives)
    seats = rows(statements.LOADS, panel_ids=lives)
    parts = _Parts()
    parts.lines = lines
    parts.panels = {row.id: row for row in panels}
    if seats:
        load_ids = sorted({row.id for row in seats})
        loads_told = sorted({row.id for row in seats if row.panel_id in told})
        records = rows(statements.RECORDS, load_ids=load_ids, in_full=loads_told)
        parts.records = {row.load_id: row for row in records}
        parts.furnace = findings_of_panels(session, load_ids, zone=zone)
        seated = rows(statements.COUPONS, panel_ids=lives, in_full=sorted(told))
        parts.coupons = _grouped(seated, 0, 1)
        coupon_ids = sorted({row.id for row in seated})
        if coupon_ids:
            parts.custody = _grouped(rows(statements.CUSTODY, coupon_ids=coupon_ids), 0)
            parts.hands = _grouped(rows(statements.HANDS, coupon_ids=coupon_ids), 0)
        parts.troubles = _grouped(rows(statements.TROUBLES, panel_ids=lives), 0, 1)
        parts.papers = _papers(session, seats)
        parts.alone = alone_on(session, lives, zone=zone)
    parts.seats = _grouped(seats, 0)
    parts.holds = _grouped(rows(statements.HOLDS, panel_ids=ids), 0)
    parts.decisions = _grouped(rows(statements.DECISIONS, panel_ids=lives), 0)
    parts.upstream = upstream_holds_on(session, ids)
    parts.nonconformances = open_nonconformances(session, ids)
    wanted = set(ids)
    return {row.id: _panel(row, parts) for row in panels if row.id in wanted}


def panel_id(session: Session, code: str) -> int:
    """The key of the panel of that identity.

    Raises:
        NotFound: there is none.
    """
    found: int | None = session.connection().execute(statements.PANEL_ID, {"code": code}).scalar()
    if found is None:
        raise NotFound(f"No panel {code} is on record. Check the mark and scan it again.")
    return found


class _Parts:
    """Rows as they were read, grouped by what they belong to."""

    def __init__(self) -> None:
        empty: Mapping[Any, list[Row[Any]]] = {}
        self.records: Mapping[int, Row[Any]] = {}
        self.papers: Mapping[str, Any] = {}
        self.panels: Mapping[int, Row[Any]] = {}
        self.lines: Mapping[int, tuple[int, ...]] = {}
        self.seats = self.coupons = self.custody = self.hands = self.troubles = empty
        self.furnace: Mapping[tuple[int, int], Sequence[Finding]] = {}
        self.holds = self.decisions = empty
        self.alone: Mapping[Seat, tuple[AloneFacts, ...]] = {}
        self.upstream: Mapping[int, Sequence[UpstreamFacts]] = {}
        self.nonconformances: Mapping[int, Sequence[NonconformanceFacts]] = {}


def _grouped(rows: Rows, *places: int) -> dict[Any, list[Row[Any]]]:
    """Rows by the columns at ``places``: by the column itself where it is one, else a tuple."""
    groups: dict[Any, list[Row[Any]]] = defaultdict(list)
    for row in rows:
        key = row[places[0]] if len(places) == 1 else tuple(row[place] for place in places)
        groups[key].append(row)
    return groups


class _KeptTable:
    """A parsed table, with the entries already looked up in it."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.places: dict[Piece, Place] = {}


_MOST_PAPERS = 256
_kept_papers: dict[str, Any] = {}


def _papers(session: Session, seats: Rows) -> Mapping[str, Any]:
    """Parsed acceptance tables by digest; asks the database only for ones not yet seen."""
    wanted = {row.table_sha256 for row in seats}
    papers = {digest: _kept_papers[digest] for digest in wanted & _kept_papers.keys()}
    unseen = wanted - papers.keys()
    if unseen:
        revisions = select(RequirementRevision.paper_sha256, RequirementRevision.paper).where(
            RequirementRevision.paper_sha256.in_(unseen)
        )
        papers |= {
            digest: _KeptTable(table_from_json(paper))
            for digest, paper in session.execute(revisions)
        }
        if len(_kept_papers) > _MOST_PAPERS:
            _kept_papers.clear()
        _kept_papers.update(papers)
    return papers


def _panel(row: Row[Any], parts: _Parts) -> PanelFacts:
    line = parts.lines.get(row.id, ())
    seats = [seat for key in (*line, row.id) for seat in parts.seats.get(key, ())]
    sent = [
        made.decided_at
        for key in line
        for made in parts.decisions.get(key, ())
        if made.kind == DecisionKind.REWORK.value
    ]
    return PanelFacts(
        id=row.id,
        code=row.code,
        lot_code=row.lot_code,
        alloy=row.alloy,
        incoming_temper=row.incoming_temper,
        form=row.form,
        thickness_mm=str(row.thickness_mm),
        cast=row.cast_number,
        certificate=row.certificate,
        drawing=row.drawing,
        order_number=row.order_number,
        target_temper=row.target_temper,
        length_mm=str(row.length_mm),
        width_mm=str(row.width_mm),
        treatments_most=row.treatments_most,
        treatments_before=row.treatments_before,
        decided=row.decided.value,
        registered_by_id=row.registered_by_id,
        registered_at=row.registered_at,
        loads=tuple(_load(row, seat, parts) for seat in seats),
        holds=tuple(HoldFacts(*tuple(hold)[1:]) for hold in parts.holds.get(row.id, ())),
        decisions=tuple(_decision(made) for made in parts.decisions.get(row.id, ())),
        upstream=tuple(parts.upstream.get(row.id, ())),
        nonconformances=tuple(parts.nonconformances.get(row.id, ())),
        reworked_at=max(sent, default=None),
        surface=row.surface,
    )


def _earlier_self(panel: Row[Any], seat: Row[Any], parts: _Parts) -> EarlierSelf | None:
    """The panel that lay in the load, where this one came of it."""
    if seat.panel_id == panel.id:
        return None
    row = parts.panels[seat.panel_id]
    return EarlierSelf(row.id, row.code, str(row.length_mm), str(row.width_mm))


def _decision(row: Row[Any]) -> DecisionFacts:
    return DecisionFacts(
        number=row.number,
        kind=DecisionKind(row.kind),
        reason=row.reason,
        evidence_sha256=row.evidence_sha256,
        decided_by_id=row.decided_by_id,
        decided_at=row.decided_at,
        printed_name=row.printed_name,
        meaning=row.meaning.value,
        signed_sha256=row.content_sha256,
        authorisation_ended_at=row.ended_at,
    )


def _load(panel: Row[Any], seat: Row[Any], parts: _Parts) -> LoadFacts:
    record = parts.records.get(seat.id)
    starts_at = (record.starts_at if record is not None else None) or seat.planned_start
    table = parts.papers[seat.table_sha256]
    entry, number = _entry(panel, panel.target_temper, table)
    needed = seat.cycle_rules.get("coupons_per_panel")
    troubles = [_trouble(row) for row in parts.troubles.get((seat.panel_id, seat.id), ())]
    last = {one.about: one for one in troubles}
    return LoadFacts(
        id=seat.id,
        code=seat.code,
        planned_at=seat.planned_at,
        starts_at=starts_at,
        treatment_number=seat.treatment_number,
        former=seat.former,
        furnace_code=seat.furnace_code,
        cycle=_revision(seat, "cycle"),
        table=_revision(seat, "table"),
        entry=entry,
        entry_number=number,
        coupons_needed=None if needed is None else int(needed),
        record=None if record is None else _record(record),
        furnace=tuple(parts.furnace[seat.id, seat.panel_id]),
        leak=_leak(seat),
        unwrapping=_unwrapping(seat),
        coupons=tuple(
            _coupon(row, panel.target_temper, table, parts, last.get(row.code))
            for row in parts.coupons.get((seat.panel_id, seat.id), ())
        ),
        nameless=tuple(one for one in troubles if one.about is None),
        governed=_governed(seat.governed),
        alone=parts.alone.get((seat.panel_id, seat.id), ()),
        earlier_self=_earlier_self(panel, seat, parts),
    )


def _trouble(row: Row[Any]) -> TroubleFacts:
    """A report about a coupon; one without a mark is about the coupon at whose place it lay."""
    unmarked = row.kind is TroubleKind.UNMARKED
    return TroubleFacts(
        about=row.place if unmarked else row.coupon,
        kind=row.kind.value,
        outcome=None if row.outcome is None else row.outcome.value,
        spare=row.spare,
        by=row.printed_name,
        reason=row.reason,
    )


def _governed(paper: Mapping[str, Any] | None) -> str | None:
    """What was kept of why the cycle and table govern the panel, as sentences."""
    if paper is None:
        return None
    of = f" of {paper['order_day']}" if paper["order_day"] else ""
    return f"Order {paper['order']}{of}, {paper['table']}. {paper['reason']}"


def _revision(seat: Row[Any], prefix: str) -> RevisionFacts:
    names = RevisionFacts.__dataclass_fields__
    return RevisionFacts(**{name: getattr(seat, f"{prefix}_{name}") for name in names})


def _leak(seat: Row[Any]) -> LeakFacts | None:
    if seat.leak_outcome is None:
        return None
    figures = (seat.start_kpa, seat.end_kpa, seat.minutes, seat.limit_kpa)
    return LeakFacts(Outcome(seat.leak_outcome), *(str(figure) for figure in figures))


def _unwrapping(seat: Row[Any]) -> UnwrappingFacts | None:
    if seat.bag_intact is None:
        return None
    gap, limit = (
        None if figure is None else str(figure)
        for figure in (seat.contour_gap_mm, seat.contour_limit_mm)
    )
    return UnwrappingFacts(
        seat.bag_intact, seat.surface_clear, seat.unwrapping_findings, gap, limit
    )


def _record(row: Row[Any]) -> RecordFacts:
    strayed, silent = channels_of(row.paper)
    return RecordFacts(
        file_sha256=row.file_sha256,
        file_name=row.file_name,
        verdict=None if row.verdict is None else Verdict(row.verdict),
        findings=findings_of(row.paper),
        rests_on=f"{row.trace_sha256}.{row.paper_sha256 or ''}",
        strayed=strayed,
        silent=silent,
    )


def _coupon(
    row: Row[Any], temper: str, table: _KeptTable, parts: _Parts, trouble: TroubleFacts | None
) -> CouponFacts:
    hands = parts.hands.get(row.id, ())
    voided_by = {row.asked_by_id for row in hands} | {row.answered_by_id for row in hands}
    corrected_by = {row.correction_by_id for row in hands} | {row.corrected_by_id for row in hands}
    waiting = {
        one.request_id for one in hands if one.request_id is not None and one.answered_by_id is None
    }
    return CouponFacts(
        id=row.id,
        code=row.code,
        lot_code=row.lot_code,
        station=row.station,
        x=str(row.x),
        y=str(row.y),
        entry=_entry(row, temper, table)[0],
        custody=tuple(
            CustodyFacts(step.step.value, *tuple(step)[2:])
            for step in parts.custody.get(row.id, ())
        ),
        verdict=None if row.verdict is None else Verdict(row.verdict),
        provisional=bool(row.provisional),
        judged_by_table_id=row.table_revision_id,
        findings=findings_of(row.paper),
        rests_on=row.inputs_sha256 or "",
        taken_by=frozenset(one.taken_by_id for one in hands),
        voided_by=frozenset(voided_by - {None}),
        voids_open=len(waiting),
        corrected_by=frozenset(corrected_by - {None}),
        other_lot_accepted=_exception(row),
        trouble=trouble,
    )


def _exception(row: Row[Any]) -> str | None:
    if row.lot_reason is None:
        return None
    return accepted_words(row.lot_accepted_by, row.lot_reason)


def _entry(row: Row[Any], temper: str, table: _KeptTable) -> Place:
    piece = (row.alloy, temper, row.form, row.thickness_mm, row.surface)
    if piece not in table.places:
        table.places[piece] = _entry_for(piece, table.table)
    return table.places[piece]


def _entry_for(piece: Piece, table: Table) -> Place:
    alloy, temper, form, thickness_mm, surface = piece
    known = Surface(surface) if surface in set(Surface) else None
    try:
        entry = find_entry(Coupon(alloy, temper, form, thickness_mm, known, ()), table)
    except Refusal:
        return None, None
    if entry is None:
        return None, None
    return str(entry.key), table.entries.index(entry) + 1
