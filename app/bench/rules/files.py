"""What is on record about a coupon, as plain values. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from app.bench.rules.session_file import SessionFile
from app.judging.units import Quantity
from app.judging.witness.acceptance import Entry, Surface, Table
from app.judging.witness.corrections import CorrectionTable
from app.judging.witness.coupon import Coupon, Reading
from app.judging.witness.coupons import find_entry
from app.judging.witness.indentation import Indentation


@dataclass(frozen=True, slots=True)
class ReadingFile:
    """A reading as recorded. ``number`` counts the coupon's readings from 1.

    ``voided`` is the cause, where a void was approved; ``replaced`` is true where a correction
    names it. ``late_reason`` is why it was entered later than it was taken.
    """

    id: int
    number: int
    session_id: int | None
    quantity: Quantity
    unit: str
    value: Decimal
    coupon_c: Decimal | None
    block_c: Decimal | None
    frequency_khz: Decimal | None
    spacing_confirmed: bool | None
    retest_id: int | None
    set_number: int | None
    taken_at: datetime
    voided: str | None
    replaced: bool
    entered_at: datetime | None = None
    late_reason: str | None = None
    taken_by_id: int | None = None
    indentation: Indentation | None = None


@dataclass(frozen=True, slots=True)
class RetestFile:
    """A retest as opened; ``coupons`` are the ids of the further coupons measured for it.

    ``plan`` is what was fixed when it was opened; None: it was opened before plans were kept.
    """

    id: int
    further: int
    coupons: tuple[int, ...]
    plan: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class BaselineFile:
    """One form of readings before the furnace; ``session_id`` is the session it was read in."""

    quantity: Quantity
    unit: str
    readings: tuple[Decimal, ...]
    session_id: int
    taken_at: datetime


@dataclass(frozen=True, slots=True)
class CorrectionOnFile:
    """A verified revision of a correction table, and from when until when it was in force."""

    table: CorrectionTable
    since: datetime
    until: datetime | None


_MOST_ENTRIES = 1000
_ENTRIES: dict[tuple[str, str, str, str, Decimal, str], Entry | None] = {}


@dataclass(frozen=True, slots=True)
class CouponFile:
    """A coupon, its readings in the order recorded, and the table that judges it.

    ``serves`` is the plan of each retest that its readings belong to, its own or a neighbour's, by
    key. ``corrections`` are the correction tables that its table names, by code as compared.
    ``judged_sha256`` is the digest of what its newest verdict rests on. ``near_retest``: a retest
    was opened for it or for a neighbour on its panel. ``in_use``: its panel was released or is used
    as is, or was replaced, so that what came of it may be.
    """

    id: int
    code: str
    panel_id: int
    load_id: int
    alloy: str
    temper: str
    form: str
    thickness_mm: Decimal
    surface: str
    table: Table
    table_revision_id: int
    table_code: str
    table_sha256: str
    readings: tuple[ReadingFile, ...]
    sessions: Mapping[int, SessionFile]
    retest: RetestFile | None
    diameter_mm: Decimal | None = None
    serves: Mapping[int, Mapping[str, Any] | None] | None = None
    baselines: tuple[BaselineFile, ...] = ()
    corrections: Mapping[str, tuple[CorrectionOnFile, ...]] | None = None
    judged_sha256: str | None = None
    near_retest: bool = True
    in_use: bool = False

    def entry(self) -> Entry | None:
        """The table's entry that is for this coupon, or None.

        Looked up once for each material and table: pages ask it of hundreds of coupons.
        """
        key = (
            self.table_sha256,
            self.alloy,
            self.temper,
            self.form,
            self.thickness_mm,
            self.surface,
        )
        if key not in _ENTRIES:
            if len(_ENTRIES) >= _MOST_ENTRIES:
                _ENTRIES.clear()
            _ENTRIES[key] = find_entry(self.coupon(()), self.table)
        return _ENTRIES[key]

    def coupon(self, readings: Sequence[Reading], **further: object) -> Coupon:
        """The coupon as judging knows it, with these readings."""
        surfaces = {surface.value: surface for surface in Surface}
        return Coupon(
            alloy=self.alloy,
            temper=self.temper,
            form=self.form,
            thickness_mm=self.thickness_mm,
            surface=surfaces.get(self.surface),
            readings=tuple(readings),
            **further,  # type: ignore[arg-type]
        )
