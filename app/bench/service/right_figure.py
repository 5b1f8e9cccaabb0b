"""The right figure of a reading, as keyed or from the sizes of its indentation."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.bench.records import BenchSession, Reading
from app.bench.rules.bracketing import bracket
from app.bench.rules.coupon_file import CouponFile
from app.bench.rules.plausibility import plausible_reading, why_impossible, why_unlikely
from app.bench.rules.sizes import SizedTester, Sizes, indentation_paper, number_shown
from app.bench.service.sessions import refuse_fields
from app.documents.coupon_reading import indentation_from_json
from app.equipment.records import Tester
from app.equipment.rules.reports import SentFile
from app.errors import Refusal
from app.judging.units import Quantity
from app.judging.witness.indentation import Indentation


@dataclass(frozen=True, slots=True)
class Correction:
    """A reading's right figure, with the reason; ``submission`` names the form.

    Where the reading came from an indentation, its right ``sizes`` in mm stand in place of
    ``value``. ``evidence`` is what shows the right figure, with a file or photograph of it; it is
    asked for where the correction takes away what speaks against the coupon.
    """

    coupon_code: str
    reading_id: int
    value: Decimal | None
    reason: str
    submission: str
    confirmed: bool = False
    evidence: str = ""
    file: SentFile | None = None
    sizes: Sizes | None = None


@dataclass(frozen=True, slots=True)
class Right:
    """The right figure, with the indentation it comes from where there is one."""

    value: Decimal
    indentation: dict[str, Any] | None
    field: str

    @property
    def measured(self) -> Indentation | None:
        """The indentation as judging knows it."""
        return None if self.indentation is None else indentation_from_json(self.indentation)


def right_figure(session: Session, old: Reading, correction: Correction) -> Right:
    """The figure that a correction gives for the reading.

    Raises:
        Refusal: it is missing, or the sizes give no number; beside its field.
    """
    if old.indentation is None:
        if correction.value is None:
            says = "Give the right figure."
            raise Refusal(says, fields={"value": says})
        return Right(correction.value, None, "value")
    if correction.sizes is None:
        says = "This reading came from an indentation: give both of its sizes."
        raise Refusal(says, fields={"size_1_1": says})
    bench = session.get_one(BenchSession, old.session_id)
    tester = session.get_one(Tester, bench.tester_id)
    ball_mm = old.indentation.get("ball_mm")
    sized = SizedTester(
        Decimal(old.indentation["force_n"]),
        None if ball_mm is None else Decimal(ball_mm),
        tester.asymmetry_percent,
    )
    try:
        value = number_shown(correction.sizes, sized)
    except Refusal as refusal:
        raise Refusal(refusal.sentence, fields={"size_1_1": refusal.sentence}) from None
    return Right(value, indentation_paper(correction.sizes, sized), "size_1_1")


def refuse_set_aside(file: CouponFile, old: Reading, right: Right) -> None:
    """Pass if the checks about the reading leave anything to set right.

    Raises:
        Refusal: a check failed, or is missing: how the tester went wrong in between is not known,
            so no figure in the reading's place would be known better.
    """
    if old.session_id is None:
        return
    why, _ = bracket(old.taken_at, file.sessions[old.session_id].checks)
    if why is not None:
        says = (
            f"The reading {old.value} {old.unit} is set aside, not to be corrected: {why}. Nothing "
            "is added to it; measure the coupon again."
        )
        raise Refusal(says, fields={right.field: says})


def refuse_figure(file: CouponFile, old: Reading, right: Right, *, confirmed: bool) -> None:
    """Pass if the figure can be, is another one, and what is unusual was confirmed.

    Raises:
        Refusal: with the sentence beside its field, and field ``confirmed`` where a tick would do.
    """
    if (str(right.value), right.indentation) == (str(old.value), old.indentation):
        says = f"The reading is {old.value} {old.unit} already."
        raise Refusal(says, fields={right.field: says})
    bounds = plausible_reading(Quantity(old.quantity), old.unit, file.entry())
    impossible = why_impossible(right.value, bounds)
    unlikely = why_unlikely(right.value, bounds)
    refuse_fields(
        {} if impossible is None else {right.field: impossible},
        {} if unlikely is None else {right.field: unlikely},
        confirmed=confirmed,
    )
