"""What may be used at the bench on a day: testers, thermometers and reference blocks."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.indents import indents_used
from app.bench.queries.sessions import BenchAtWork, running_sessions
from app.bench.rules.bracketing import CHECK_READINGS
from app.bench.rules.standards import Standard
from app.equipment import queries as equipment
from app.equipment.queries import Quarantine
from app.equipment.records import ReferenceBlock, Tester
from app.equipment.rules import indents_left_of


@dataclass(frozen=True, slots=True)
class TesterChoice:
    """A tester on the bench page: whether it may be used today, and who uses it now.

    ``words`` say how it stands; ``quarantine`` why it is out of use, if it is; ``running`` is the
    session at it that has begun and not ended.
    """

    code: str
    name: str
    quantity: str
    unit: str
    usable: bool
    words: str
    quarantine: Quarantine | None
    running: BenchAtWork | None


@dataclass(frozen=True, slots=True)
class BlockChoice:
    """A reference block that may be checked, and how many indents it has room for, if it counts."""

    code: str
    certified: Decimal
    permitted_error: Decimal
    unit: str
    left: int | None

    @property
    def words(self) -> str:
        """What stands beside its identity where it is chosen."""
        left = "" if self.left is None else f", {self.left} indents left"
        return (
            f"{self.code}: {self.certified} {self.unit}, permitted error "
            f"{self.permitted_error}{left}"
        )

    @property
    def standard(self) -> Standard:
        """The block as the rules about standards know it."""
        return Standard(self.code, self.certified)


def tester_choices(session: Session, *, on: date) -> list[TesterChoice]:
    """Every tester by code, with how it stands on the day and who is at it."""
    testers = session.execute(
        select(Tester.id, Tester.code, Tester.name, Tester.quantity, Tester.unit).order_by(
            Tester.code
        )
    ).all()
    keys = [row.id for row in testers]
    dues = equipment.dues_of_testers(session, keys, on=on)
    out = equipment.quarantine_of(session, keys)
    at_work = {one.tester_id: one for one in running_sessions(session)}
    return [
        TesterChoice(
            code=row.code,
            name=row.name,
            quantity=row.quantity,
            unit=row.unit,
            usable=dues[row.id].is_in_date and row.id not in out,
            words=dues[row.id].words,
            quarantine=out.get(row.id),
            running=at_work.get(row.id),
        )
        for row in testers
    ]


def thermometer_choices(session: Session, *, on: date) -> list[tuple[str, str]]:
    """The thermometers that are evidence on the day: identity and words, by identity."""
    found = equipment.thermometers(session)
    dues = equipment.dues_of_thermometers(session, [one.id for one in found], on=on)
    return [
        (one.code, f"{one.code}: {one.name}, {dues[one.id].words}")
        for one in found
        if dues[one.id].is_in_date
    ]


def blocks_for(session: Session, *, quantity: str, unit: str, on: date) -> list[BlockChoice]:
    """Reference blocks of that quantity and unit that may be checked, by certified value.

    A second person accepted them, they are in date, and they have room for the indents of a check.
    """
    used = indents_used(session, _blocks_of(session, quantity, unit))
    usable = [
        BlockChoice(
            code=one.code,
            certified=one.certified_value,
            permitted_error=one.permitted_error,
            unit=one.unit,
            left=indents_left_of(one.indents_most, used.get(one.id, 0)),
        )
        for one in equipment.usable_blocks(session, quantity=quantity, unit=unit, on=on, used=used)
    ]
    return [one for one in usable if one.left is None or one.left >= CHECK_READINGS[quantity]]


def _blocks_of(session: Session, quantity: str, unit: str) -> Collection[int]:
    return session.scalars(
        select(ReferenceBlock.id).where(
            ReferenceBlock.quantity == quantity, ReferenceBlock.unit == unit
        )
    ).all()
