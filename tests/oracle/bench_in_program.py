"""A case handed to the program as its own records, and what the program says of it."""

import hashlib
import json
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

from app.bench.rules.bracketing import Check
from app.bench.rules.coupon_file import (
    BaselineFile,
    CorrectionOnFile,
    CouponFile,
    ReadingFile,
    RetestFile,
    judge_file,
)
from app.bench.rules.session_file import Certificate, SessionFile, Study, Thermometer
from app.documents.table import table_from_json
from app.equipment.rules.dates import DatedPaper
from app.judging.units import Quantity
from app.judging.witness.acceptance import Obtained, Table
from app.judging.witness.corrections import CorrectionReason, CorrectionTable, Parameter
from app.judging.witness.indentation import (
    BrinellIndentation,
    Indentation,
    RockwellIndentation,
    VickersIndentation,
)
from app.judging.witness.reference_block import judge_block_check

from .bench_case import ZONE_MINUTES, BenchCase, BlockCheck, Desk, Paper, TableInForce, Taken

START = datetime(2026, 1, 1, tzinfo=UTC)
FIRST_DAY = date(2026, 1, 1)
ZONE = timezone(timedelta(minutes=ZONE_MINUTES))
RETEST_ID = 7
PART = re.compile(r"^Retest, ((?:set|coupon) [^:]+): ")
NOT_COUNTED = re.compile(r"\bReading (\d+),")


@dataclass(slots=True)
class Answer:
    """The program's verdict in the oracle's words; figures as it writes them."""

    verdict: str
    provisional: bool
    first: str
    not_counted: set[int]
    findings: list[tuple[str, str, str, str | None]]


class Program:
    """The program, which reads each table and each session's papers once."""

    def __init__(self) -> None:
        self._tables: dict[int, tuple[dict, Table]] = {}
        self._digests: dict[int, tuple[dict, str]] = {}
        self._desks: dict[int, tuple[Desk, SessionFile]] = {}
        self._corrections: dict[int, tuple[TableInForce, CorrectionOnFile]] = {}

    def told(self, case: BenchCase) -> Answer:
        """The program's verdict on the case."""
        neighbours = {
            number: self._file(beside, number) for number, beside in enumerate(case.neighbours, 2)
        }
        judged = judge_file(self._file(case, 1), neighbours, ZONE)
        findings, not_counted = [], set()
        for finding in judged.findings:
            if finding.code == "reading.not_counted":
                said = NOT_COUNTED.search(finding.text)
                if said and not finding.text.startswith("Retest, coupon"):
                    not_counted.add(int(said[1]))
            elif finding.outcome.value != "note":
                part = PART.match(finding.text)
                value = None if finding.value is None else str(finding.value)
                told = (part[1] if part else "", finding.code, finding.outcome.value, value)
                findings.append(told)
        return Answer(
            judged.verdict.value,
            judged.provisional,
            judged.first.verdict.value,
            not_counted,
            findings,
        )

    def _file(self, case: BenchCase, number: int) -> CouponFile:
        in_force: dict[str, list[CorrectionOnFile]] = {}
        for table in case.tables:
            on_file = self._correction(table)
            in_force.setdefault(table.code.casefold(), []).append(on_file)
        plan, retest = None, None
        if case.retest is not None:
            plan = {
                "of": case.retest.of,
                "further": case.retest.further,
                "quantities": list(case.retest.quantities),
                "positions": [beside.code for beside in case.neighbours] or None,
                "by_another": case.retest.by_another,
                "not_by": list(case.retest.not_by),
                "words": "as the table says",
            }
            others = tuple(range(2, 2 + len(case.neighbours)))
            retest = RetestFile(RETEST_ID, case.retest.further, others, plan)
        return CouponFile(
            id=number,
            code=case.code,
            panel_id=1,
            load_id=1,
            alloy=str(case.key["alloy"]),
            temper=str(case.key["temper"]),
            form=str(case.key["form"]),
            thickness_mm=Decimal(case.thickness),
            surface=str(case.key["surface"]),
            table=self._table(case.table),
            table_revision_id=1,
            table_code="invented",
            table_sha256=self._digest(case.table),
            readings=tuple(_reading(reading) for reading in case.readings),
            sessions={number: self._desk(desk) for number, desk in enumerate(case.desks)},
            retest=retest,
            diameter_mm=None if case.diameter is None else Decimal(case.diameter),
            serves={RETEST_ID: plan} if plan else None,
            baselines=tuple(
                BaselineFile(Quantity(quantity), unit, tuple(map(Decimal, figures)), 0, START)
                for quantity, unit, figures in case.before_furnace
            ),
            corrections={code: tuple(found) for code, found in in_force.items()},
        )

    def _table(self, paper: dict) -> Table:
        known = self._tables.get(id(paper))
        if known is None:
            known = self._tables[id(paper)] = (paper, table_from_json(paper))
        return known[1]

    def _digest(self, paper: dict) -> str:
        """What tells one table's paper from another, for whoever keeps what follows from it."""
        known = self._digests.get(id(paper))
        if known is None:
            digest = hashlib.sha256(json.dumps(paper, sort_keys=True).encode()).hexdigest()
            known = self._digests[id(paper)] = (paper, digest)
        return known[1]

    def _desk(self, desk: Desk) -> SessionFile:
        known = self._desks.get(id(desk))
        if known is None:
            known = self._desks[id(desk)] = (desk, _session(desk, f"T-{len(self._desks) + 1}"))
        return known[1]

    def _correction(self, table: TableInForce) -> CorrectionOnFile:
        known = self._corrections.get(id(table))
        if known is None:
            known = self._corrections[id(table)] = (table, _on_file(table))
        return known[1]


def taken_at(minute: int) -> datetime:
    """The minute as the program has times."""
    return START + timedelta(minutes=minute)


def _dated(paper: Paper) -> DatedPaper:
    done, due = (FIRST_DAY + timedelta(days=day) for day in (paper.done, paper.due))
    return DatedPaper(done, due)


def _newest_first(papers: tuple[Paper, ...]) -> list[Paper]:
    return sorted(papers, key=lambda paper: -paper.done)


def check_told(check: BlockCheck, unit: str) -> bool:
    """Whether the program finds that the tester read the block rightly."""
    finding = judge_block_check(
        [Decimal(reading) for reading in check.readings],
        certified=Decimal(check.certified),
        permitted_error=Decimal(check.permitted),
        unit=unit,
    )
    return finding.outcome.value == "conforms"


def checks_of(desk: Desk) -> tuple[Check, ...]:
    """The session's checks as the program has them, each judged by the program."""
    return tuple(
        Check(
            check.moment,
            check_told(check, desk.unit),
            taken_at(check.minute),
            check.block,
            Decimal(check.certified),
        )
        for check in desk.checks
    )


def _session(desk: Desk, tester: str) -> SessionFile:
    certificates = tuple(
        Certificate(
            _dated(paper),
            None if paper.expanded is None else Decimal(paper.expanded),
            f"C-{paper.done}",
            tuple((Decimal(read), Decimal(added)) for read, added in paper.corrections),
        )
        for paper in _newest_first(desk.papers)
    )
    thermometer = None
    if desk.thermometer is not None:
        papers = tuple(_dated(paper) for paper in _newest_first(desk.thermometer))
        thermometer = Thermometer("TH-1", papers)
    return SessionFile(
        tester=tester,
        unit=desk.unit,
        build=desk.build,
        step=Decimal(desk.step),
        checks=checks_of(desk),
        certificates=certificates,
        blocks={code: None if u is None else Decimal(u) for code, u in desk.blocks.items()},
        thermometer=thermometer,
        studies=tuple(
            Study(number, taken_at(minute), Decimal(deviation))
            for number, (minute, deviation) in enumerate(sorted(desk.studies), 1)
        ),
    )


def _on_file(table: TableInForce) -> CorrectionOnFile:
    parameter = {"diameter": Parameter.DIAMETER, "thickness": Parameter.THICKNESS}.get(
        table.by or ""
    )
    reason = CorrectionReason.CURVATURE if table.by == "diameter" else CorrectionReason.CLAD
    told = CorrectionTable(
        code=table.code,
        name="invented",
        revision="A",
        quantity=Quantity(table.quantity),
        unit=table.unit,
        reason=reason,
        parameter=parameter,
        readings=tuple(map(Decimal, table.readings)),
        parameters=tuple(map(Decimal, table.measures)),
        additions=tuple(tuple(map(Decimal, row)) for row in table.additions),
        source="invented",
        obtained=Obtained.INVENTED,
    )
    until = None if table.until is None else taken_at(table.until)
    return CorrectionOnFile(told, taken_at(table.since), until)


def _indentation(sizes: tuple[str, ...] | None) -> Indentation | None:
    if sizes is None:
        return None
    method, *figures = sizes
    given = tuple(map(Decimal, figures))
    if method == "brinell":
        return BrinellIndentation(given[0], given[1], given[2:])
    if method == "vickers":
        return VickersIndentation(given[0], given[1:])
    return RockwellIndentation(*given)


def _temperature(written: str | None) -> Decimal | None:
    return None if written is None else Decimal(written)


def _reading(reading: Taken) -> ReadingFile:
    when = taken_at(reading.minute)
    return ReadingFile(
        id=reading.number,
        number=reading.number,
        session_id=reading.desk,
        quantity=Quantity(reading.quantity),
        unit=reading.unit,
        value=Decimal(reading.value),
        coupon_c=_temperature(reading.coupon_c),
        block_c=_temperature(reading.block_c),
        frequency_khz=_temperature(reading.khz),
        spacing_confirmed=reading.spacing,
        retest_id=None if reading.again is None else RETEST_ID,
        set_number=reading.again,
        taken_at=when,
        voided="the wrong coupon" if reading.voided else None,
        replaced=reading.replaced,
        entered_at=when + timedelta(minutes=30 if reading.late else 0),
        late_reason="the screen was in use" if reading.late else None,
        taken_by_id=reading.by,
        indentation=_indentation(reading.sizes),
    )
