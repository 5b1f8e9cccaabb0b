"""A bench session as evidence: its tester, its checks and the papers of all that was used. Pure.

Only papers that a second person accepted are here; what nobody accepted is as if it were not there.
Source: the judging rules, 3.2 and 3.6.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from app.bench.rules.bracketing import Check, bracket, why_out_of_date
from app.equipment.rules import DatedPaper, due, governing
from app.judging.witness.budget import Part, part_of_block, part_of_repeatability, part_of_tester
from app.judging.witness.corrections import InstrumentCorrection


@dataclass(frozen=True, slots=True)
class Certificate:
    """A tester's accepted calibration, both days included.

    ``expanded`` is U (k = 2) where it states one; ``corrections`` its pairs (value read, to add),
    empty where it states none; ``as_found`` whether it says how the tester was found; ``remark`` is
    what the person who accepted it remarked.
    """

    paper: DatedPaper
    expanded: Decimal | None
    name: str = ""
    corrections: tuple[tuple[Decimal, Decimal], ...] = ()
    as_found: bool = True
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Thermometer:
    """What temperatures were taken with, and its accepted certificates, newest entry first."""

    code: str
    papers: tuple[DatedPaper, ...]


@dataclass(frozen=True, slots=True)
class Study:
    """A closed study of a tester: its number, when it was closed, and the standard deviation."""

    number: int
    closed_at: datetime
    deviation: Decimal


@dataclass(frozen=True, slots=True)
class SessionFile:
    """A session's tester, its checks in the order made, and the papers of all that was used.

    ``certificates`` come newest entry first, ``studies`` oldest first. ``blocks`` has U (k = 2) of
    each accepted block that was checked, None where its certificate states none. ``unit`` is the
    tester's; ``step`` the smallest step of its display.
    """

    tester: str
    unit: str
    build: str | None
    step: Decimal | None
    checks: tuple[Check, ...]
    certificates: tuple[Certificate, ...]
    blocks: Mapping[str, Decimal | None]
    thermometer: Thermometer | None = None
    studies: tuple[Study, ...] = ()

    def certificate_on(self, day: date) -> Certificate | None:
        """The certificate that counts on the day, in date or not; None where there is none."""
        paper = governing([one.paper for one in self.certificates], on=day)
        return next((one for one in self.certificates if one.paper is paper), None)

    def correction_on(self, day: date) -> InstrumentCorrection | None:
        """What the certificate of the day has added to readings, or None."""
        found = self.certificate_on(day)
        if found is None or not found.corrections:
            return None
        return InstrumentCorrection(found.corrections, self.unit, f"certificate {found.name}")

    def study_at(self, at: datetime) -> Study | None:
        """The latest study closed by then, or None."""
        return next((one for one in reversed(self.studies) if one.closed_at <= at), None)


def why_not_calibrated(bench: SessionFile, day: date) -> str | None:
    """Why the tester was not in calibration on the day, as a phrase; None where it was."""
    return why_out_of_date([one.paper for one in bench.certificates], day)


def why_no_thermometer(bench: SessionFile, day: date) -> str | None:
    """Why the session's temperatures prove nothing on the day; None where it names no thermometer.

    A session that names none is noted with the coupon's verdict, and its readings count.
    """
    if bench.thermometer is None:
        return None
    state = due(bench.thermometer.papers, on=day)
    if state.is_in_date:
        return None
    return (
        f"thermometer {bench.thermometer.code}, which its temperatures were taken with, was not in "
        f"calibration on {day} ({state.words})"
    )


def proven_at(bench: SessionFile, at: datetime) -> tuple[str | None, bool]:
    """Why the session's checks do not prove a reading of that time, and whether provisionally."""
    return bracket(at, bench.checks)


def budget_parts(taken: Sequence[tuple[SessionFile, date, datetime]]) -> tuple[Part, ...] | None:
    """What the uncertainty of results is combined from; None where a tester's U is not known.

    ``taken`` has, for each reading that counts, its session, day and time. Of several testers,
    blocks or studies the largest figure stands: U of the tester, U of the blocks its session was
    checked on, and the standard deviation of the tester's latest study where all have one. Without
    a study the scatter of the coupon's own readings takes its place.
    """
    testers: dict[str, Certificate] = {}
    for bench, day, _ in taken:
        found = bench.certificate_on(day)
        if found is None or found.expanded is None:
            return None
        before = testers.get(bench.tester)
        if before is None or before.expanded is None or found.expanded > before.expanded:
            testers[bench.tester] = found
    if not testers:
        return None
    largest = max(testers, key=lambda code: testers[code].expanded or Decimal(0))
    paper = testers[largest]
    parts = [part_of_tester(largest, paper.expanded, source=f"certificate {paper.name}")]
    parts.extend(_block_parts([bench for bench, _, _ in taken]))
    studies = {bench.tester: bench.study_at(at) for bench, _, at in taken}
    known = [one for one in studies.values() if one is not None]
    if len(known) == len(studies):
        study = max(known, key=lambda one: one.deviation)
        parts.append(part_of_repeatability(study.deviation, source=f"study {study.number}"))
    return tuple(parts)


def _block_parts(sessions: Sequence[SessionFile]) -> list[Part]:
    """The largest U of the blocks; one that states none is named, and left out of the sum."""
    stated: dict[str, Decimal | None] = {}
    for bench in sessions:
        stated.update(bench.blocks)
    known = {code: figure for code, figure in stated.items() if figure is not None}
    if not known:
        return [part_of_block(" and ".join(stated), None)] if stated else []
    largest = max(known, key=lambda code: known[code])
    return [part_of_block(largest, known[largest])]
