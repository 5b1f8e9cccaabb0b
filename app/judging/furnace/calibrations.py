"""Load sensors and vacuum gauges: in calibration through the load, and within their life. Pure.

Source: the judging rules, 4.5.7.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from app.judging.furnace.furnace_checks import Review, counting, is_accepted, missing_words
from app.judging.furnace.procedure import InstrumentKind, Procedure, SensorLife
from app.judging.verdict import Finding, Outcome

_CODES = {InstrumentKind.SENSOR: "sensors", InstrumentKind.VACUUM_GAUGE: "gauge"}


@dataclass(frozen=True, slots=True)
class CertificateOnRecord:
    """A calibration: made on, in date up to and including ``due_on`` as it or its entry states."""

    done_on: date
    due_on: date
    entered_by: str
    review: Review | None
    certificate: str | None


@dataclass(frozen=True, slots=True)
class InstrumentOnRecord:
    """A sensor or gauge with its certificates, newest entry first.

    ``uses`` counts the loads it served in, this one included, and ``first_used_on`` is the day of
    the first; None: not on record. Both matter only where the procedure limits a sensor's life.
    """

    kind: InstrumentKind
    name: str
    certificates: tuple[CertificateOnRecord, ...]
    uses: int | None = None
    first_used_on: date | None = None


def judge_calibrations(
    kind: InstrumentKind,
    instruments: Sequence[InstrumentOnRecord],
    procedure: Procedure | None,
    *,
    starts_on: date,
    ends_on: date | None,
) -> tuple[Finding, Finding]:
    """Whether every instrument is in calibration at the load's start, and through its end.

    Overdue at the start does not conform. No certificate that a second person accepted, no interval
    in the procedure, no instrument at all, and one that runs out before the end, or an end that is
    not on record, are not proven. ``instruments`` are all of that kind.
    """
    states = [_state(one, procedure, starts_on) for one in instruments]
    working = tuple(f"{state.name}: {state.says}" for state in states)
    return (
        _at_start(kind, states, starts_on, working),
        _through_end(kind, states, ends_on, working),
    )


def judge_sensor_life(
    sensors: Sequence[InstrumentOnRecord], procedure: Procedure, *, starts_on: date
) -> tuple[Finding, ...]:
    """Whether every sensor is within the uses and the age the procedure allows; none: no finding.

    Both limits are included. Uses or a first day that are not on record are not proven.
    """
    life = procedure.sensor_life
    if life is None:
        return ()
    spent, unknown, working = [], [], []
    for sensor in sensors:
        for name, used, is_spent in _spans_of_life(sensor, life, procedure, starts_on):
            working.append(f"{sensor.name}: {name} {used or 'not on record'}")
            if used is None:
                unknown.append(f"{sensor.name} ({name})")
            elif is_spent:
                spent.append(f"{sensor.name} ({name} {used})")
    outcome, says = Outcome.CONFORMS, "Every load sensor is within its permitted life."
    if spent:
        outcome, says = Outcome.DOES_NOT_CONFORM, f"Beyond their life: {', '.join(spent)}."
    elif unknown or not sensors:
        named = ", ".join(unknown) or "any load sensor"
        outcome, says = Outcome.NOT_PROVEN, f"Not on record: {named}."
    return (
        Finding("sensors.life", outcome, says, source=life.origin.source, working=tuple(working)),
    )


def _spans_of_life(
    sensor: InstrumentOnRecord, life: SensorLife, procedure: Procedure, starts_on: date
) -> Iterator[tuple[str, str | None, bool]]:
    """Each limit's name, what stands against it (None: not on record), whether it is beyond."""
    most, age = life.largest_uses, life.largest_age
    if most is not None:
        uses = sensor.uses
        used = None if uses is None else f"{uses} of {most}"
        yield "uses", used, uses is not None and uses > most
    if age is not None:
        first = sensor.first_used_on
        last_day = None if first is None else procedure.last_day_of(first, age)
        words = None if last_day is None else f"{first}, until {last_day}"
        yield "first used", words, last_day is not None and starts_on > last_day


@dataclass(frozen=True, slots=True)
class _State:
    """How one instrument stands at the load's start; ``last_day`` None: nothing counts."""

    name: str
    outcome: Outcome
    says: str
    last_day: date | None


def _state(one: InstrumentOnRecord, procedure: Procedure | None, starts_on: date) -> _State:
    found = counting(one.certificates, on=starts_on)
    if found is None:
        says = missing_words(f"certificate of {one.name}", one.certificates, on=starts_on)
        return _State(one.name, Outcome.NOT_PROVEN, says, None)
    counted = None
    if procedure is not None:
        counted = procedure.last_day_of_instrument(one.kind, found.done_on)
    last_day = found.due_on if counted is None else min(found.due_on, counted)
    accepted = f"accepted by {found.review.by}" if is_accepted(found) and found.review else ""
    made = f"calibrated on {found.done_on}, in date until {last_day}, {accepted}"
    if starts_on > last_day:
        return _State(one.name, Outcome.DOES_NOT_CONFORM, made, last_day)
    if counted is None:
        says = f"{made}; no verified pyrometry procedure states how often a {one.kind} is due"
        return _State(one.name, Outcome.NOT_PROVEN, says, last_day)
    return _State(one.name, Outcome.CONFORMS, made, last_day)


def _at_start(
    kind: InstrumentKind, states: Sequence[_State], starts_on: date, working: tuple[str, ...]
) -> Finding:
    overdue = [state for state in states if state.outcome is Outcome.DOES_NOT_CONFORM]
    unproven = [state for state in states if state.outcome is Outcome.NOT_PROVEN]
    if overdue:
        outcome = Outcome.DOES_NOT_CONFORM
        named = ", ".join(f"{state.name} (until {state.last_day})" for state in overdue)
        says = f"Overdue for calibration on {starts_on}: {named}."
    elif not states:
        outcome, says = Outcome.NOT_PROVEN, f"No {kind} is on record for the load."
    elif unproven:
        outcome = Outcome.NOT_PROVEN
        named = ", ".join(state.name for state in unproven)
        says = f"Not shown to be in calibration on {starts_on}: {named}."
        if len(unproven) == 1 and unproven[0].last_day is None:
            says = unproven[0].says
    else:
        outcome, named = Outcome.CONFORMS, ", ".join(state.name for state in states)
        says = f"In calibration on {starts_on}: {named}."
    return Finding(f"{_CODES[kind]}.calibration", outcome, says, working=working)


def _through_end(
    kind: InstrumentKind, states: Sequence[_State], ends_on: date | None, working: tuple[str, ...]
) -> Finding:
    good = [state for state in states if state.outcome is Outcome.CONFORMS]
    outcome = Outcome.NOT_PROVEN
    if ends_on is None:
        says = "When the load ends is not on record."
    elif len(good) < len(states) or not states:
        says = f"Not every {kind} is shown to be in calibration at the start."
    else:
        lapsing = [
            f"{state.name} (until {state.last_day})"
            for state in good
            if state.last_day is not None and state.last_day < ends_on
        ]
        says = f"Runs out before the load's end on {ends_on}: {', '.join(lapsing)}."
        if not lapsing:
            outcome = Outcome.CONFORMS
            says = f"Every {kind} stays in calibration until the load's end on {ends_on}."
    return Finding(f"{_CODES[kind]}.through_end", outcome, says, working=working)
