"""One line of a panel's evidence list, and what the lines recommend together. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import quote

from app.judging.verdict import Outcome, Verdict


@dataclass(frozen=True, slots=True)
class Gate:
    """One line of the evidence list.

    ``about`` is the kind and code of the record that answers it; ``supplier`` can supply what
    may be missing; ``rests_on`` is a digest of what was judged, so that a correction shows even
    where the words stay the same.
    """

    code: str
    title: str
    outcome: Outcome
    text: str
    about: tuple[str, str]
    supplier: str = ""
    rests_on: str = ""

    @property
    def who(self) -> str | None:
        """Who can supply what is missing; None where nothing is."""
        return self.supplier if self.supplier and self.outcome is Outcome.NOT_PROVEN else None

    @property
    def href(self) -> str:
        """Address of the record that answers it."""
        return address(*self.about)


_PLACES = {
    "panel": "/panels/",
    "coupon": "/coupons/",
    "load": "/loads/",
    "furnace": "/furnaces/",
    "sensor": "/sensors/",
    "vacuum_gauge": "/gauges/",
    "tester": "/testers/",
    "reference_block": "/blocks/",
    "thermometer": "/thermometers/",
    "material_lot": "/lots/",
    "acceptance_table": "/tables/",
    "cycle": "/cycles/",
    "pyrometry_procedure": "/procedures/",
    "logger_mapping": "/mappings/",
    "correction_table": "/corrections/",
    "nonconformance": "/nonconformances/",
    "place": "/places/",
    "person": "/trail?by=",
}


@lru_cache(maxsize=4096)
def address(kind: str, code: str) -> str:
    """The page of a thing; the trail of an identity where its kind has no page of its own."""
    return _PLACES.get(kind, "/trail?identity=") + quote(code, safe="")


def recommend(gates: Sequence[Gate]) -> Verdict:
    """The worst gate decides; nothing to go by is *not proven*."""
    outcomes = {gate.outcome for gate in gates}
    if Outcome.DOES_NOT_CONFORM in outcomes:
        return Verdict.DOES_NOT_CONFORM
    return Verdict.CONFORMS if outcomes == {Outcome.CONFORMS} else Verdict.NOT_PROVEN
