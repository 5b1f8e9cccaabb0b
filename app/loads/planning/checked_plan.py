"""A plan with what it names looked up, while its gates are judged."""

from dataclasses import dataclass, field
from typing import Any

from app.equipment.records import Furnace, Sensor, VacuumGauge
from app.judging.verdict import Finding, Outcome
from app.loads.records import Load
from app.panels.records import Coupon, MaterialLot, Panel
from app.requirements.queries import Revision


@dataclass
class CheckedPlan:
    """The rows that a plan names, as far as they are on record, and every finding.

    ``own`` is the load on record whose gates are judged again; None while it is being planned.
    """

    own: Load | None = None
    findings: list[Finding] = field(default_factory=list)
    furnace: Furnace | None = None
    gauge: VacuumGauge | None = None
    cycle: Revision | None = None
    tables: dict[str, Revision] = field(default_factory=dict)
    """Of each panel, by its identity: the revision of its table that governs it."""
    governed: dict[str, dict[str, Any]] = field(default_factory=dict)
    """Of each panel: why its table and the cycle govern it, as it is kept with its seat."""
    cycle_reasons: dict[str, str] = field(default_factory=dict)
    panels: dict[str, tuple[Panel, MaterialLot]] = field(default_factory=dict)
    treatment_numbers: dict[str, int] = field(default_factory=dict)
    coupons: dict[str, tuple[Coupon, MaterialLot]] = field(default_factory=dict)
    sensors: dict[str, Sensor] = field(default_factory=dict)
    foreign: list[tuple[str, str]] = field(default_factory=list)
    """Coupon and panel of different lots that nobody has accepted."""

    def fails(self, code: str, text: str) -> None:
        """Add a finding that stands against the plan."""
        self.findings.append(Finding(code, Outcome.DOES_NOT_CONFORM, text))

    @property
    def paper(self) -> dict[str, Any]:
        """The cycle's paper; empty while no cycle is known."""
        return self.cycle.paper if self.cycle is not None else {}

    def is_own(self, load_code: str) -> bool:
        """Whether the load of that identity is the one being judged again."""
        return self.own is not None and self.own.code == load_code
