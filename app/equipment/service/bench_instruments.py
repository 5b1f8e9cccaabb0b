"""Registering testers and reference blocks, with the figures that the bench relies on.

``at`` is the server's time in the shop's zone: its calendar day is the day of the entry.
"""

from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.audit.tags import Tag
from app.database import Database
from app.equipment.records import Build, ReferenceBlock, Tester
from app.equipment.rules import SentFile, why_not_of_scale
from app.equipment.service.registration import put_on_record
from app.equipment.service.terms import keep_file
from app.errors import Refusal, refuse
from app.judging.units import Quantity, check_unit
from app.people.rights import Act, require

MEASURED = (Quantity.HARDNESS, Quantity.CONDUCTIVITY)
"""What testers and reference blocks are for."""

_LARGEST_ASYMMETRY_PERCENT = 50
_LONGEST_MIN = 24 * 60
_COLDEST_C, _HOTTEST_C = 0, 50
"""Between these a block's certified value can hold at all, ends included. Our own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TesterFigures:
    """What is known of a tester; lengths in mm, the range, step and accuracy in its unit.

    ``measures_from`` and ``measures_to`` are included. Force and ball let raw indentations be
    keyed; ``check_every_min`` None asks for opening and closing checks alone.
    """

    build: Build
    resolution: Decimal
    measures_from: Decimal | None = None
    measures_to: Decimal | None = None
    accuracy: Decimal | None = None
    indenter: str | None = None
    force_n: Decimal | None = None
    ball_mm: Decimal | None = None
    asymmetry_percent: Decimal | None = None
    frequency_khz: Decimal | None = None
    probe: str | None = None
    check_every_min: int | None = None


_OF_HARDNESS = {
    "indenter": "An indenter",
    "force_n": "A force",
    "ball_mm": "A ball",
    "asymmetry_percent": "An asymmetry limit",
}
_OF_CONDUCTIVITY = {"frequency_khz": "A frequency", "probe": "A probe"}
_ABOVE_ZERO = ("resolution", "accuracy", "force_n", "ball_mm", "asymmetry_percent", "frequency_khz")


def register_tester(
    database: Database,
    *,
    code: str,
    name: str,
    quantity: str,
    unit: str,
    figures: TesterFigures,
    by: Actor,
    at: datetime,
) -> str:
    """Put a hardness tester or conductivity meter on record and hand back its identity.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    measured = _measured(quantity, unit)
    wrong = _wrong_figures(measured, unit, figures)
    if wrong:
        raise Refusal(" ".join(wrong.values()), fields=wrong)
    tester = Tester(
        code=as_code(code),
        name=name,
        quantity=measured.value,
        unit=unit,
        registered_by_id=by.id,
        registered_at=at,
        **asdict(figures),
    )
    note = f"{name}: {measured.words}, {unit}, {figures.build} build"
    with database.write() as session:
        put_on_record(
            session, tester, Tag.TESTER_REGISTERED, kind="tester", by=by, at=at, note=note
        )
        return tester.code


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockFigures:
    """What a reference block's certificate states, in the block's unit.

    ``permitted_error`` is the largest error of the mean check reading, plus or minus, included.
    ``expanded_uncertainty`` is U with k = 2; ``indents_most`` None where the block is not used up.
    """

    certified_value: Decimal
    permitted_error: Decimal
    expanded_uncertainty: Decimal | None = None
    indents_most: int | None = None
    certified_at_c: Decimal | None = None


def register_block(
    database: Database,
    *,
    code: str,
    quantity: str,
    unit: str,
    figures: BlockFigures,
    expires_on: date,
    certificate: str,
    by: Actor,
    at: datetime,
    file: SentFile | None = None,
) -> int:
    """Put a hardness block or conductivity standard with its certificate on record; its key.

    It may be used up to and including ``expires_on``, once a second person has accepted it.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    measured = _measured(quantity, unit)
    _refuse_block(measured, unit, figures)
    note = f"{figures.certified_value} {unit}, permitted error {figures.permitted_error}"
    with database.write() as session:
        digest, kept = keep_file(session, file, at=at)
        block = ReferenceBlock(
            code=as_code(code),
            quantity=measured.value,
            unit=unit,
            expires_on=expires_on,
            certificate=certificate,
            report_sha256=digest,
            registered_by_id=by.id,
            registered_at=at,
            **asdict(figures),
        )
        put_on_record(
            session,
            block,
            Tag.BLOCK_REGISTERED,
            kind="reference_block",
            by=by,
            at=at,
            note=note,
            besides=kept,
        )
        return block.id


def _wrong_figures(measured: Quantity, unit: str, figures: TesterFigures) -> dict[str, str]:
    """A sentence for each figure that cannot be, by field."""
    given = {name: value for name, value in asdict(figures).items() if value is not None}
    wrong = {
        name: f"{given[name]} cannot be; give it above 0, or leave it out where it is not known."
        for name in _ABOVE_ZERO
        if name in given and given[name] <= 0
    }
    foreign = _OF_CONDUCTIVITY if measured is Quantity.HARDNESS else _OF_HARDNESS
    whose = "conductivity meter" if measured is Quantity.HARDNESS else "hardness tester"
    wrong |= {
        name: f"{words} is for a {whose}; leave it out."
        for name, words in foreign.items()
        if name in given
    }
    if figures.measures_from is None and figures.measures_to is not None:
        wrong["measures_from"] = "Give both ends of the range, or neither."
    elif figures.measures_to is None and figures.measures_from is not None:
        wrong["measures_to"] = "Give both ends of the range, or neither."
    elif "measures_from" in given and given["measures_from"] >= given["measures_to"]:
        wrong["measures_to"] = f"The range has to end above {figures.measures_from}."
    if given.get("asymmetry_percent", 0) > _LARGEST_ASYMMETRY_PERCENT:
        wrong["asymmetry_percent"] = f"Give at most {_LARGEST_ASYMMETRY_PERCENT} %."
    if not 1 <= given.get("check_every_min", 1) <= _LONGEST_MIN:
        wrong["check_every_min"] = f"Give 1 to {_LONGEST_MIN} minutes, or leave it out."
    of_scale = why_not_of_scale(unit, force_n=figures.force_n, ball_mm=figures.ball_mm)
    return of_scale | wrong


def _refuse_block(measured: Quantity, unit: str, figures: BlockFigures) -> None:
    value, error = figures.certified_value, figures.permitted_error
    if value <= 0:
        refuse("certified_value", f"A block of {value} {unit} cannot be; give it above 0.")
    if not 0 < error < value:
        refuse(
            "permitted_error",
            f"A permitted error of {error} {unit} cannot be; give it above 0 and below the "
            "certified value.",
        )
    uncertainty, most, at_c = (
        figures.expanded_uncertainty,
        figures.indents_most,
        figures.certified_at_c,
    )
    if uncertainty is not None and not 0 < uncertainty < value:
        refuse(
            "expanded_uncertainty",
            f"An uncertainty of {uncertainty} {unit} cannot be; give it above 0 and below the "
            "certified value, or leave it out.",
        )
    if most is not None and measured is not Quantity.HARDNESS:
        refuse("indents_most", "A conductivity standard is not used up by indents; leave it out.")
    if most is not None and most < 1:
        refuse("indents_most", "Give at least 1 indent, or leave it out where none are counted.")
    if at_c is not None and not _COLDEST_C <= at_c <= _HOTTEST_C:
        refuse(
            "certified_at_c",
            f"{at_c} degC is no room's temperature; give {_COLDEST_C} to {_HOTTEST_C} degC.",
        )


def _measured(quantity: str, unit: str) -> Quantity:
    """The quantity a tester or block is for, its scale or unit checked."""
    if quantity not in MEASURED:
        refuse("quantity", f"{quantity[:40]!r}: choose hardness or conductivity.")
    measured = Quantity(quantity)
    try:
        check_unit(measured, unit, where="Scale or unit")
    except Refusal as refusal:
        refuse("unit", refusal.sentence)
    return measured
