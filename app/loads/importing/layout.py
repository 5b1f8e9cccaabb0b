"""Whether a record was read in a way that somebody besides its reader answers for.

A layout stated by hand proves nothing by itself where it could be told otherwise than the file
tells: a wrong column gives a record that looks right.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.judging.verdict import Finding, Outcome
from app.loads.queries import in_use
from app.loads.records import FurnaceRecord, LayoutConfirmation
from app.people.records import Signature
from app.requirements.records import Requirement, RequirementRevision

CODE = "record.layout"
SOURCE = "judging rules, 4.1"


def layout_findings(session: Session, load_ids: Iterable[int]) -> dict[int, Finding]:
    """How each load's standing record was read, by load; a load without one is left out.

    One query however many loads.
    """
    rows = session.execute(
        select(
            FurnaceRecord.load_id,
            FurnaceRecord.layout,
            Requirement.code,
            RequirementRevision.revision,
            Signature.printed_name,
        )
        .outerjoin(RequirementRevision, RequirementRevision.id == FurnaceRecord.mapping_revision_id)
        .outerjoin(Requirement, Requirement.id == RequirementRevision.requirement_id)
        .outerjoin(LayoutConfirmation, LayoutConfirmation.record_id == FurnaceRecord.id)
        .outerjoin(Signature, Signature.id == LayoutConfirmation.signature_id)
        .where(FurnaceRecord.load_id.in_(sorted(set(load_ids))), in_use())
    )
    return {
        row.load_id: judge_layout(
            row.layout,
            mapping=None if row.code is None else f"{row.code} revision {row.revision}",
            confirmed_by=row.printed_name,
        )
        for row in rows
    }


def judge_layout(
    layout: Mapping[str, Any], *, mapping: str | None, confirmed_by: str | None
) -> Finding:
    """Whether the way a record was read is proven.

    ``layout`` is the paper kept with it, ``mapping`` the approved mapping it was read by, and
    ``confirmed_by`` the second person who compared the columns with the file.
    """
    if mapping is not None:
        says = f"The record was read by the approved mapping {mapping}."
        return Finding(CODE, Outcome.CONFORMS, says, source=SOURCE)
    if confirmed_by is not None:
        says = f"The layout was stated by hand, and {confirmed_by} compared it with the file."
        return Finding(CODE, Outcome.CONFORMS, says, source=SOURCE)
    told = stated(layout)
    if not told:
        says = "The layout was stated by hand, and every column bears its planned channel's name."
        return Finding(CODE, Outcome.CONFORMS, says, source=SOURCE)
    says = (
        "The layout was stated by hand and the file does not bear it out by itself; read it by an "
        "approved mapping, or have a second person compare the columns with the file."
    )
    return Finding(CODE, Outcome.NOT_PROVEN, says, source=SOURCE, working=told)


def stated(layout: Mapping[str, Any]) -> tuple[str, ...]:
    """What a layout says that the file's own names do not: one line each; none of a plain file.

    A plain file names each column as the planned channel, times are ISO 8601 or elapsed seconds,
    and vacuum is in kPa below ambient.
    """
    if "channels" not in layout:  # the form of records from before mappings
        columns = layout.get("columns", {}).items()
        return tuple(_column_line(channel, one) for channel, one in columns if channel != one)
    vacuum, time = layout["vacuum"], layout["time"]
    lines = [
        _column_line(part["channel"], part["column"])
        for part in (*layout["channels"], *([vacuum] if vacuum else []))
        if part["channel"] != part["column"]
    ]
    if time["kind"] == "pattern":
        lines.append(f"dates are written {time['order'] or 'in an order that is not stated'}")
    if time["kind"] == "elapsed" and time["elapsed_unit"] != "seconds":
        lines.append(f"the time is in {time['elapsed_unit']} from the start")
    lines += [
        f"{part['channel']} is in deg{part['unit']}, unlike the file's deg"
        f"{layout['temperature_unit']}"
        for part in layout["channels"]
        if part["unit"] not in {None, layout["temperature_unit"]}
    ]
    if vacuum and (vacuum["unit"], vacuum["sense"]) != ("kPa", "below ambient"):
        lines.append(f"{vacuum['channel']} is in {vacuum['unit']}, {vacuum['sense']}")
    return tuple(lines)


def _column_line(channel: str, column: str | int) -> str:
    where = f"column {column}" if isinstance(column, str) else f"column number {column}"
    return f"{channel} is read from {where}"
