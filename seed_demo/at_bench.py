"""One person's session at one tester in the demonstration: its acts, each told its time."""

from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

import numpy as np

from app.bench.records import CheckMoment
from app.bench.service import (
    CheckTaken,
    ReadingsTaken,
    keep_draft,
    open_session,
    record_baseline,
    record_check,
    record_readings,
)
from seed_demo.diary import DemoShop
from seed_demo.scenario import THERMOMETER, Block, Tester

_STANDARD_C, _COUPON_C = Decimal("20.8"), Decimal("21.1")

Values = tuple[Decimal, ...]


@dataclass
class AtBench:
    """The tester, who sits at it, and the session's number once it is open."""

    shop: DemoShop
    tester: Tester
    operator: str
    rng: np.random.Generator
    number: int = 0

    @property
    def _is_conductivity(self) -> bool:
        return self.tester.quantity == "conductivity"

    def open(self, at: datetime) -> None:
        """Open the session, with the shop's thermometer for conductivity."""
        self.number = open_session(
            self.shop.database,
            tester_code=self.tester.code,
            thermometer_code=THERMOMETER if self._is_conductivity else None,
            by=self.shop.people[self.operator],
            at=at,
            zone=self.shop.zone,
        )

    def check(self, moment: CheckMoment, block: Block, off: float, at: datetime) -> None:
        """Two readings on a block, ``off`` its value on average but for the tester's scatter."""
        value = float(block.value) + off
        steps = self.rng.standard_normal(2).clip(-1.5, 1.5) * self.tester.scatter
        taken = CheckTaken(
            moment=moment,
            block_code=block.code,
            readings=tuple(Decimal(f"{value + step:.1f}") for step in steps.tolist()),
            block_c=_STANDARD_C if self._is_conductivity else None,
        )
        record_check(
            self.shop.database,
            taken,
            session_id=self.number,
            by=self.shop.people[self.operator],
            at=at,
            zone=self.shop.zone,
        )

    def read(self, code: str, values: Values, at: datetime) -> None:
        """Key a coupon's readings as soon as they are taken."""
        self._record(self._taken(code, values), at)

    def read_sizes(
        self, code: str, sizes: tuple[tuple[Decimal, Decimal], ...], at: datetime
    ) -> None:
        """Key the two diameters of each indentation in place of numbers."""
        self._record(replace(self._taken(code, ()), sizes=sizes), at)

    def read_late(
        self, code: str, values: Values, measured_at: datetime, reason: str, at: datetime
    ) -> None:
        """Key a coupon's readings that were taken earlier in the session."""
        self._record(self._taken(code, values, measured_at=measured_at, reason=reason), at)

    def read_before(self, code: str, values: Values, at: datetime) -> None:
        """Key what a coupon shows before it goes into the furnace."""
        record_baseline(
            self.shop.database,
            self._taken(code, values, form="baseline"),
            session_id=self.number,
            by=self.shop.people[self.operator],
            at=at,
            zone=self.shop.zone,
        )

    def leave_keyed(self, code: str, values: Values, at: datetime) -> None:
        """Key some of a coupon's readings and record nothing yet."""
        readings = {f"reading_{k}": str(value) for k, value in enumerate(values, start=1)}
        temperatures = {"coupon_c": str(_COUPON_C), "block_c": str(_STANDARD_C)}
        keep_draft(
            self.shop.database,
            session_id=self.number,
            coupon_code=code,
            fields={
                "submission": f"demo-draft-{code}",
                "fields": "3",
                **readings,
                **(temperatures if self._is_conductivity else {}),
            },
            by=self.shop.people[self.operator],
            at=at,
        )

    def _taken(
        self,
        code: str,
        values: Values,
        *,
        form: str = "first",
        measured_at: datetime | None = None,
        reason: str = "",
    ) -> ReadingsTaken:
        return ReadingsTaken(
            coupon_code=code,
            values=values,
            submission=f"demo-{form}-{self.tester.code}-{code}",
            coupon_c=_COUPON_C if self._is_conductivity else None,
            block_c=_STANDARD_C if self._is_conductivity else None,
            spacing_confirmed=not self._is_conductivity,
            measured_at=measured_at,
            late_reason=reason,
        )

    def _record(self, taken: ReadingsTaken, at: datetime) -> None:
        record_readings(
            self.shop.database,
            taken,
            session_id=self.number,
            by=self.shop.people[self.operator],
            at=at,
            zone=self.shop.zone,
        )
