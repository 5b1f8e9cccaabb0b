"""What is on record about a panel, as plain values that a decision rests on. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from app.judging.verdict import Finding, Outcome, Verdict


class DecisionKind(StrEnum):
    """What a signed decision says of a panel."""

    RELEASED = "released"
    NO_DEPARTURE = "no departure found"
    """The hold was reviewed and the evidence conforms: back to the inspector for release."""
    USE_AS_IS = "use as is"
    REWORK = "rework"
    REPAIR = "repair"
    RETURNED = "return to supplier"
    SCRAPPED = "scrap"
    CONFIRMED = "release confirmed"
    """The panel was recalled, and its release stands."""
    WITHDRAWN = "release withdrawn"
    """The panel was recalled, and its release does not stand: it is held."""


FINAL = frozenset({DecisionKind.RETURNED, DecisionKind.SCRAPPED})
"""After these nothing more is decided: the panel is out of the shop's hands."""


@dataclass(frozen=True, slots=True)
class RevisionFacts:
    """A cycle or acceptance table at the revision that a load uses."""

    id: int
    code: str
    revision: str
    written_by_id: int
    verified_by_id: int | None
    in_force_from: datetime | None
    withdrawn_at: datetime | None

    @property
    def name(self) -> str:
        """Code and revision, as spoken."""
        return f"{self.code} revision {self.revision}"


@dataclass(frozen=True, slots=True)
class RecordFacts:
    """The furnace record in use. ``verdict`` is None until it is judged.

    ``strayed`` and ``silent`` are the channels that left the band in the soak, and those with gaps;
    filled, like ``findings``, where the record does not conform.
    """

    file_sha256: str
    file_name: str
    verdict: Verdict | None
    findings: tuple[Finding, ...]
    rests_on: str
    strayed: frozenset[str] = frozenset()
    silent: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class LeakFacts:
    """The last leak check of the panel's bag before the run, figures as typed."""

    outcome: Outcome
    start_kpa: str
    end_kpa: str
    minutes: str
    limit_kpa: str


@dataclass(frozen=True, slots=True)
class UnwrappingFacts:
    """What was found on unwrapping; ``surface_clear`` is None until the surface was searched."""

    bag_intact: bool
    surface_clear: bool | None
    findings: str
    contour_gap_mm: str | None = None
    """Largest gap to the checking fixture as measured; None: not measured."""
    contour_limit_mm: str | None = None


@dataclass(frozen=True, slots=True)
class CustodyFacts:
    """One hand-over of a coupon."""

    step: str
    place: str
    note: str
    by_id: int
    at: datetime


@dataclass(frozen=True, slots=True)
class TroubleFacts:
    """A report that a coupon is missing, unmarked or doubled.

    ``about`` is the coupon in doubt, None where nobody can say which; ``kind`` is what is wrong, as
    spoken. ``outcome`` is None while nobody has decided; ``by`` and ``reason`` come with it.
    """

    about: str | None
    kind: str
    outcome: str | None = None
    spare: str | None = None
    by: str | None = None
    reason: str | None = None

    @property
    def is_open(self) -> bool:
        """Whether nobody has decided about it."""
        return self.outcome is None

    @property
    def takes_out(self) -> bool:
        """Whether its coupon is no evidence any more."""
        return self.outcome in {"no evidence", "a spare stands in"}

    @property
    def words(self) -> str:
        """What is wrong and how it ended, as a sentence."""
        told = f"Coupon {self.about}: {self.kind}" if self.about else f"A coupon: {self.kind}"
        if self.is_open:
            return f"{told}, and a supervisor has not decided about it."
        ended = f"{self.spare} stands in for it" if self.spare else self.outcome
        return f"{told}; {ended}, decided by {self.by}: {(self.reason or '').rstrip('.')}."


@dataclass(frozen=True, slots=True)
class CouponFacts:
    """A coupon that rode on the panel. ``entry`` is the table entry that is for it, as spoken."""

    id: int
    code: str
    lot_code: str
    station: str
    x: str
    y: str
    entry: str | None
    custody: tuple[CustodyFacts, ...] = ()
    verdict: Verdict | None = None
    provisional: bool = False
    judged_by_table_id: int | None = None
    findings: tuple[Finding, ...] = ()
    rests_on: str = ""
    taken_by: frozenset[int] = frozenset()
    """Everybody who recorded or corrected one of its readings."""
    voided_by: frozenset[int] = frozenset()
    """Everybody who asked for a void of its readings, or answered one."""
    voids_open: int = 0
    corrected_by: frozenset[int] = frozenset()
    """Everybody who asked for a correction of its readings, or answered one."""
    other_lot_accepted: str | None = None
    """Who accepted it although it is of another lot, and why; None where nobody did."""
    trouble: TroubleFacts | None = None
    """The last report about it."""

    @property
    def is_doubtful(self) -> bool:
        """Whether a report about it is still open."""
        return self.trouble is not None and self.trouble.is_open

    @property
    def is_out(self) -> bool:
        """Whether it was decided that it is no evidence."""
        return self.trouble is not None and self.trouble.takes_out

    @property
    def is_missing(self) -> bool:
        """Whether it was recorded missing, even if it turned up later."""
        return any(step.step == "missing" for step in self.custody)


@dataclass(frozen=True, slots=True)
class AloneFacts:
    """One person did what two are needed for, under one account or two; names as printed."""

    what: str
    first: str
    second: str

    @property
    def words(self) -> str:
        """What it was and who, as a sentence."""
        if self.first == self.second:
            return f"{self.what}: {self.first} did both, and two people are needed."
        return (
            f"{self.what}: {self.first} and {self.second} are accounts of one person, and two "
            "people are needed."
        )


@dataclass(frozen=True, slots=True)
class EarlierSelf:
    """The panel that lay in a load when this one was still part of it, or bore its mark."""

    id: int
    code: str
    length_mm: str
    width_mm: str


@dataclass(frozen=True, slots=True)
class LoadFacts:
    """One furnace load of the panel. ``starts_at`` is the record's start, else the planned one."""

    id: int
    code: str
    planned_at: datetime
    starts_at: datetime
    treatment_number: int
    former: str
    furnace_code: str
    cycle: RevisionFacts
    table: RevisionFacts
    entry: str | None
    """The table entry that is for the panel, as spoken."""
    entry_number: int | None
    """That entry's place in the table, counting from 1."""
    coupons_needed: int | None
    record: RecordFacts | None
    furnace: tuple[Finding, ...]
    leak: LeakFacts | None
    unwrapping: UnwrappingFacts | None
    coupons: tuple[CouponFacts, ...]
    nameless: tuple[TroubleFacts, ...] = ()
    """Reports of coupons that nobody can name, on the panel in this load."""
    governed: str | None = None
    """Why this cycle and table govern the panel, as stored when the load was planned."""
    alone: tuple[AloneFacts, ...] = ()
    """Where one person did what two are needed for."""
    earlier_self: EarlierSelf | None = None
    """The panel that lay in it, where this one came of that; None: it lay there itself."""

    @property
    def troubles(self) -> tuple[TroubleFacts, ...]:
        """The last report about each coupon, and those about coupons that nobody can name."""
        return (*(c.trouble for c in self.coupons if c.trouble is not None), *self.nameless)


@dataclass(frozen=True, slots=True)
class HoldFacts:
    """A hold; open while ``lifted_by_number`` (the number of a decision) is None."""

    id: int
    reason: str
    placed_by_id: int
    placed_at: datetime
    lifted_by_number: int | None = None


@dataclass(frozen=True, slots=True)
class UpstreamFacts:
    """An open hold on something the panel rests on. ``path`` says how, as spoken."""

    id: int
    kind: str
    code: str
    reason: str
    placed_by_id: int
    placed_at: datetime
    path: str


@dataclass(frozen=True, slots=True)
class NonconformanceFacts:
    """A nonconformance of the panel; open until a decision carries out its disposition."""

    id: int
    code: str
    description: str
    opened_by_id: int
    opened_at: datetime
    is_open: bool


@dataclass(frozen=True, slots=True)
class DecisionFacts:
    """A signed decision, without its snapshot.

    ``authorisation_ended_at`` is when the authorisation it was signed under was taken back, later;
    the signature keeps its meaning. None: it was not.
    """

    number: int
    kind: DecisionKind
    reason: str
    evidence_sha256: str
    decided_by_id: int
    decided_at: datetime
    printed_name: str
    meaning: str
    signed_sha256: str
    authorisation_ended_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class PanelFacts:
    """Everything on record that a decision on the panel rests on. Loads and decisions in order."""

    id: int
    code: str
    lot_code: str
    alloy: str
    incoming_temper: str
    form: str
    thickness_mm: str
    cast: str
    certificate: str
    drawing: str
    order_number: str
    target_temper: str
    length_mm: str
    width_mm: str
    treatments_most: int
    treatments_before: int
    decided: str
    registered_by_id: int
    registered_at: datetime
    loads: tuple[LoadFacts, ...] = ()
    holds: tuple[HoldFacts, ...] = ()
    decisions: tuple[DecisionFacts, ...] = ()
    upstream: tuple[UpstreamFacts, ...] = ()
    """Open holds on what the panel rests on, whether or not they put a hold on it too."""
    nonconformances: tuple[NonconformanceFacts, ...] = ()
    reworked_at: datetime | None = None
    """When a panel that this one came from was last sent to rework."""
    surface: str = ""
    """Of its lot, as entered or corrected."""

    @property
    def open_holds(self) -> tuple[HoldFacts, ...]:
        """Holds that no decision has lifted."""
        return tuple(hold for hold in self.holds if hold.lifted_by_number is None)

    @property
    def last_decision(self) -> DecisionFacts | None:
        """The decision that stands, or None."""
        return self.decisions[-1] if self.decisions else None

    @property
    def round_loads(self) -> tuple[LoadFacts, ...]:
        """The loads the evidence rests on: those planned since the last rework decision.

        A decision on a panel that this one came from counts like its own.
        """
        sent = [d.decided_at for d in self.decisions if d.kind is DecisionKind.REWORK]
        before = [] if self.reworked_at is None else [self.reworked_at]
        since = max([*before, *sent], default=None)
        return tuple(load for load in self.loads if since is None or load.planned_at > since)

    @property
    def concerned_coupons(self) -> tuple[CouponFacts, ...]:
        """The coupons a decision rests on; after rework, until a new load, those before it."""
        return tuple(c for load in self.round_loads or self.loads for c in load.coupons)

    @property
    def takers(self) -> frozenset[int]:
        """Everybody who recorded or corrected a reading that a decision rests on."""
        return frozenset().union(*(coupon.taken_by for coupon in self.concerned_coupons))

    @property
    def voiders(self) -> frozenset[int]:
        """Everybody who asked for or answered a void among those readings."""
        return frozenset().union(*(coupon.voided_by for coupon in self.concerned_coupons))

    @property
    def correctors(self) -> frozenset[int]:
        """Everybody who asked for or answered a correction among those readings."""
        return frozenset().union(*(coupon.corrected_by for coupon in self.concerned_coupons))


def worst_first(findings: Sequence[Finding]) -> str:
    """The sentences of the findings that stand in the way, the worst first."""
    failed = [f.text for f in findings if f.outcome is Outcome.DOES_NOT_CONFORM]
    unproven = [f.text for f in findings if f.outcome is Outcome.NOT_PROVEN]
    return " ".join([*failed, *unproven])
