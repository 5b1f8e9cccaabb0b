"""Everything of the equipment that is due, overdue, waits for review or is asked for."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import quote

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.equipment.queries.basis import procedures_in_force
from app.equipment.queries.blocks import blocks, dues_of_blocks
from app.equipment.queries.certificates import gauge_files, gauges, sensor_papers
from app.equipment.queries.furnaces import furnace_files, procedure_of
from app.equipment.queries.registered import furnaces
from app.equipment.queries.testers import dues_of_testers, testers, testers_out_of_use
from app.equipment.queries.thermometers import dues_of_thermometers, thermometers
from app.equipment.records import Sensor
from app.equipment.rules import (
    Due,
    DueState,
    certificate_due,
    furnace_dues,
    indents_due,
    indents_left_of,
    out_of_use,
    urgency,
)
from app.judging.furnace.procedure import CheckKind, InstrumentKind, Procedure


@dataclass(frozen=True, slots=True)
class BoardLine:
    """A paper of one thing that needs somebody: whose, which, how it stands, and its page."""

    kind: str
    code: str
    paper: str
    due: Due
    href: str


def dues_of_furnaces(
    session: Session, furnace_ids: Iterable[int], *, at: datetime
) -> dict[int, dict[CheckKind, Due]]:
    """How each furnace's checks stand at a moment, by key; ``at`` is in the shop's zone."""
    on = at.date()
    return {
        key: furnace_dues(file.on_day(on), file.procedure(on=on, at=at), on=on)
        for key, file in furnace_files(session, furnace_ids).items()
    }


def dues_of_sensors(session: Session, sensor_ids: Sequence[int], *, at: datetime) -> dict[int, Due]:
    """How sensors stand at a moment, by key; ``at`` is in the shop's zone."""
    procedures = _procedures(session, at)
    return {
        key: certificate_due(papers, InstrumentKind.SENSOR, procedures, on=at.date())
        for key, papers in sensor_papers(session, sensor_ids).items()
    }


def dues_of_gauges(session: Session, gauge_ids: Sequence[int], *, at: datetime) -> dict[int, Due]:
    """How vacuum gauges stand at a moment, by key; ``at`` is in the shop's zone."""
    procedures = _procedures(session, at)
    return {
        key: certificate_due(
            file.certificates, InstrumentKind.VACUUM_GAUGE, procedures, on=at.date()
        )
        for key, file in gauge_files(session, gauge_ids).items()
    }


def due_board(
    session: Session, *, at: datetime, used: Mapping[int, int] | None = None
) -> list[BoardLine]:
    """Everything that is not simply in date, the most urgent first; ``at`` is in the shop's zone.

    ``used`` has the indents made on each block so far, which the bench knows; without it the
    papers alone are listed. A fixed number of queries, however much equipment there is.
    """
    lines = [
        *_furnace_lines(session, at),
        *_sensor_lines(session, at),
        *_gauge_lines(session, at),
        *_bench_lines(session, at.date()),
        *_block_lines(session, at.date(), used or {}),
    ]
    waiting = [line for line in lines if line.due.state is not DueState.IN_DATE]
    return sorted(waiting, key=lambda line: (*urgency(line.due), line.kind, line.code, line.paper))


def out_of_use_board(session: Session) -> list[BoardLine]:
    """Of :func:`due_board` the testers in quarantine alone, by code; one query."""
    return [
        _line("tester", code, _paper_of(out_of_use()), out_of_use())
        for code in testers_out_of_use(session)
    ]


def _procedures(session: Session, at: datetime) -> list[Procedure]:
    return [procedure_of(one) for one in procedures_in_force(session, at=at)]


def _furnace_lines(session: Session, at: datetime) -> list[BoardLine]:
    codes = {one.id: one.code for one in furnaces(session)}
    return [
        _line("furnace", codes[key], kind.value, due)
        for key, dues in dues_of_furnaces(session, codes, at=at).items()
        for kind, due in dues.items()
    ]


def _sensor_lines(session: Session, at: datetime) -> list[BoardLine]:
    codes = {row.id: row.code for row in session.execute(select(Sensor.id, Sensor.code))}
    dues = dues_of_sensors(session, list(codes), at=at)
    return [_line("sensor", codes[key], "certificate", due) for key, due in dues.items()]


def _gauge_lines(session: Session, at: datetime) -> list[BoardLine]:
    codes = {one.id: one.code for one in gauges(session)}
    dues = dues_of_gauges(session, list(codes), at=at)
    return [_line("vacuum_gauge", codes[key], "certificate", due) for key, due in dues.items()]


def _bench_lines(session: Session, on: date) -> list[BoardLine]:
    of_testers = {one.id: one.code for one in testers(session)}
    of_thermometers = {one.id: one.code for one in thermometers(session)}
    tester_dues = dues_of_testers(session, of_testers, on=on)
    thermometer_dues = dues_of_thermometers(session, of_thermometers, on=on)
    return [
        *(
            _line("tester", of_testers[key], _paper_of(due), due)
            for key, due in tester_dues.items()
        ),
        *(
            _line("thermometer", of_thermometers[key], "certificate", due)
            for key, due in thermometer_dues.items()
        ),
    ]


def _paper_of(due: Due) -> str:
    return "quarantine" if due.state is DueState.OUT_OF_USE else "certificate"


def _block_lines(session: Session, on: date, used: Mapping[int, int]) -> list[BoardLine]:
    found = blocks(session)
    dues = dues_of_blocks(session, found, on=on)
    lines = [_line("reference_block", one.code, "certificate", dues[one.id]) for one in found]
    for one in found:
        left = indents_left_of(one.indents_most, used.get(one.id, 0))
        if left is not None:
            lines.append(_line("reference_block", one.code, "indents", indents_due(left)))
    return lines


_PLACES: Mapping[str, str] = {
    "furnace": "furnaces",
    "sensor": "sensors",
    "vacuum_gauge": "gauges",
    "tester": "testers",
    "thermometer": "thermometers",
    "reference_block": "blocks",
}


def _line(kind: str, code: str, paper: str, due: Due) -> BoardLine:
    return BoardLine(kind, code, paper, due, f"/{_PLACES[kind]}/{quote(code, safe='')}")
