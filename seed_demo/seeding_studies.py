"""Filling the demonstration: studies of the testers, one closed and one that goes on."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

import numpy as np

from app.bench.rules.study_order import Piece, order_of
from app.bench.service.studies import (
    StudyFigure,
    StudyWanted,
    close_study,
    open_study,
    record_study_reading,
)
from seed_demo.diary import DemoShop
from seed_demo.seeding_equipment import ENGINEER

_CLOSED_DAYS, _RUNNING_DAYS = 2, 1
"""So many days ago each was opened."""
_TRIALS = 2
_HARDNESS = {"W-1": 79.6, "W-2": 82.9, "W-3": 85.2, "W-4": 87.8, "W-5": 90.7}
_CONDUCTIVITY = {"W-1": 36.4, "W-2": 38.1, "W-3": 39.7, "W-4": 41.5}
_LEANS = (0.0, 0.25)
"""How much higher each operator reads, in scatters of the tester."""
_HARDNESS_SCATTER, _CONDUCTIVITY_SCATTER = 0.35, 0.08
_OPERATORS = ("imorrowby", "pquennell")
_WAITING = "tashgill"
"""Has not measured yet in the study that goes on."""


def enter_studies(shop: DemoShop) -> None:
    """The hardness tester's study with its result, and the conductivity meter's under way."""
    closed = _Study(shop, "HB-2", _HARDNESS, _OPERATORS, _HARDNESS_SCATTER)
    at = closed.enter(shop.day(_CLOSED_DAYS, 6), "Yearly study, before the tester's calibration")
    shop.enter(at + timedelta(minutes=5), closed.close)
    operators = (*_OPERATORS, _WAITING)
    running = _Study(shop, "EC-5", _CONDUCTIVITY, operators, _CONDUCTIVITY_SCATTER)
    running.enter(shop.day(_RUNNING_DAYS, 6), "First study with the new probe cable")


class _Study:
    """One study: the parts' true values, who measures, and its number once it is open."""

    def __init__(
        self,
        shop: DemoShop,
        tester: str,
        parts: dict[str, float],
        operators: Sequence[str],
        scatter: float,
    ) -> None:
        self._shop, self._tester, self._parts = shop, tester, parts
        self._operators, self._scatter = operators, scatter
        self._rng = np.random.default_rng(len(tester) + len(parts))
        self._number = 0

    def enter(self, at: datetime, purpose: str) -> datetime:
        """Put opening and readings into the diary; hands back when the last one is taken."""
        self._shop.enter(at, partial(self._open, purpose))
        for who, lean in zip(self._operators, _LEANS, strict=False):
            for place in range(len(self._parts) * _TRIALS):
                at += timedelta(minutes=1)
                self._shop.enter(at, partial(self._read, who, lean, place))
        return at

    def _open(self, purpose: str, at: datetime) -> None:
        people = self._shop.people
        wanted = StudyWanted(
            tester_code=self._tester,
            purpose=purpose,
            parts=tuple(self._parts),
            operators=tuple(people[who].id for who in self._operators),
            trials=_TRIALS,
        )
        self._number = open_study(
            self._shop.database, wanted, by=people[ENGINEER], at=at, zone=self._shop.zone
        )

    def _read(self, who: str, lean: float, place: int, at: datetime) -> None:
        by = self._shop.people[who]
        piece: Piece = order_of(self._number, by.id, tuple(self._parts), _TRIALS)[place]
        step = lean + float(self._rng.standard_normal())
        value = Decimal(f"{self._parts[piece.part] + self._scatter * step:.1f}")
        record_study_reading(
            self._shop.database,
            StudyFigure(self._number, piece, value),
            by=by,
            at=at,
            zone=self._shop.zone,
        )

    def close(self, at: datetime) -> None:
        """The engineer closes it."""
        close_study(
            self._shop.database,
            study_id=self._number,
            remark="All indents on the ground face of each piece.",
            by=self._shop.people[ENGINEER],
            at=at,
        )
