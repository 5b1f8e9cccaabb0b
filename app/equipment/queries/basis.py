"""By which procedure a furnace's report is judged, and how long it then holds."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from app.equipment.queries.furnaces import FurnaceFile, Qualification, furnace_file, procedure_of
from app.equipment.records import FurnaceCheck, FurnaceCheckKind
from app.judging.furnace.furnace_checks import is_accepted
from app.judging.furnace.procedure import CheckKind, Procedure
from app.requirements import queries as requirements
from app.requirements.queries import Revision
from app.requirements.records import Requirement


@dataclass(frozen=True, slots=True)
class Governing:
    """A pyrometry procedure's revision in force, with its requirement's key."""

    requirement_id: int
    revision: Revision
    procedure: Procedure


@dataclass(frozen=True, slots=True)
class CheckBasis:
    """To which class and type a check is made, by which procedure, and how long it holds.

    ``last_day`` and ``every`` are None where the procedure has no interval for it.
    """

    furnace_class: str
    instrumentation_type: str
    procedure: Procedure
    revision_id: int
    procedure_code: str
    every: str | None
    source: str | None
    last_day: date | None

    @property
    def paper(self) -> dict[str, Any]:
        """What is kept of it beside the check."""
        return {
            "procedure": self.procedure_code,
            "revision": self.procedure.revision,
            "revision_id": self.revision_id,
            "every": self.every,
            "source": self.source,
            "last_day": None if self.last_day is None else self.last_day.isoformat(),
        }


def procedures_in_force(session: Session, *, at: datetime) -> list[Revision]:
    """The revision in force of every pyrometry procedure that has one."""
    return [revision for _, revision in requirements.procedures_in_force(session, at=at)]


def find_procedure(session: Session, code: str, *, at: datetime) -> Governing | None:
    """The procedure of that identity at its revision in force; None without one."""
    for requirement_id, revision in requirements.procedures_in_force(session, at=at):
        if revision.code == code:
            return Governing(requirement_id, revision, procedure_of(revision))
    return None


def governing_procedure(
    session: Session, furnace_id: int, *, on: date, at: datetime
) -> Procedure | None:
    """The procedure by which a furnace is kept on a day, as it is in force at a moment."""
    file = furnace_file(session, furnace_id)
    kept = _kept(file, on)
    found = None if kept is None else _revision(file, kept, at)
    return None if found is None else procedure_of(found)


def check_basis(
    session: Session, furnace_id: int, kind: FurnaceCheckKind, done_on: date, *, at: datetime
) -> CheckBasis | None:
    """By what a check made on a day and entered at a moment is judged; None: by nothing yet.

    The furnace is taken as it was kept on that day, or, where it was kept to nothing yet, to the
    first class it was accepted for afterwards: the check may be what it was qualified by.
    """
    file = furnace_file(session, furnace_id)
    kept = _kept(file, done_on)
    revision = None if kept is None else _revision(file, kept, at)
    if kept is None or revision is None:
        return None
    procedure = procedure_of(revision)
    row = procedure.interval(CheckKind(kind.value), kept.furnace_class, kept.instrumentation_type)
    return CheckBasis(
        furnace_class=kept.furnace_class,
        instrumentation_type=kept.instrumentation_type,
        procedure=procedure,
        revision_id=revision.id,
        procedure_code=revision.code,
        every=None if row is None else row.every.words,
        source=None if row is None else row.origin.source,
        last_day=None if row is None else procedure.last_day_of(done_on, row.every),
    )


def procedure_of_check(session: Session, check: FurnaceCheck) -> Procedure | None:
    """The procedure's revision by which a check was judged when it was entered; None: by none."""
    if check.interval is None or check.interval.get("revision_id") is None:
        return None
    return procedure_of(requirements.revision(session, check.interval["revision_id"]))


def procedure_named(session: Session, requirement_id: int) -> Requirement:
    """The pyrometry procedure of that key, whatever its revision."""
    return session.get_one(Requirement, requirement_id)


def _kept(file: FurnaceFile, on: date) -> Qualification | None:
    kept = file.qualification(on)
    if kept is not None:
        return kept
    accepted = [one for one in file.qualifications if is_accepted(one)]
    return min(accepted, key=lambda one: one.done_on) if accepted else None


def _revision(file: FurnaceFile, kept: Qualification, at: datetime) -> Revision | None:
    found = [one for one in file.procedures if one.code == kept.procedure_code and one.in_force(at)]
    return found[-1] if found else None
