"""What departed on which panel of the invented shop, what was proposed, and what was done since.

Holds, proposals, actions, places and orders; every name and number is made up.
"""

from dataclasses import dataclass
from datetime import timedelta


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoAction:
    """A corrective action, due so many days after it is entered; ``found`` if it was checked."""

    cause: str
    action: str
    owner: str
    due_in_days: int
    found: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """What a nonconformance says of a panel, and how what is proposed for it is carried out."""

    description: str
    requirement: str
    containment: str
    instructions: str = ""
    action: DemoAction | None = None
    notice: str = ""
    """What the customer is asked, where a notice is drafted."""


DEPARTURES = {
    "TW-1050": Departure(
        description="TC3 read 154.8 °C at most, 1.8 °C above the band, for four minutes.",
        requirement="Cycle KH-150 revision C: 150 °C, 3 °C either side, no excursion.",
        containment="AK2 stopped after the load; the panels of L-204 stand in the cage.",
        action=DemoAction(
            cause="A baffle screw had sheared; the draught came through the gap beside TC3.",
            action="Every baffle screw of AK2 renewed and wired; look them over with each survey.",
            owner="mdunfold",
            due_in_days=6,
            found="All screws wired; four loads since without a draught at any sensor.",
        ),
        notice="Tell us within ten days whether the use of the panel as it is may stand.",
    ),
    "TW-1054": Departure(
        description="Vacuum lost after 18.4 h of the soak: bag torn along the seal, back end.",
        requirement="Cycle KH-150 revision C: at least 75 kPa below ambient to the soak's end.",
        containment="Both panels left on their formers; the bagging film of that roll set aside.",
        instructions="Bag anew on former FM-03 with film of another roll; age again in full.",
    ),
    "TW-1059": Departure(
        description="Soak 22 h 41 min where TC4 lay; 24 h are asked for.",
        requirement="Cycle KH-150 revision C: 24 h with every sensor in band.",
        containment="The former's plug-in board for TC4 taken out; panels to the cage.",
        instructions="Age again in full by KH-150; second treatment of two permitted.",
        action=DemoAction(
            cause="The soak clock counts from the mean of the sensors, not from the last one.",
            action="Let the controller of AK1 count from the slowest sensor; try it on dummies.",
            owner="mdunfold",
            due_in_days=3,
        ),
    ),
    "TW-1060": Departure(
        description="Short soak, and a scorched patch 40 mm by 15 mm, 0.3 mm deep.",
        requirement="Cycle KH-150 revision C; surface sheet SS-4, no scorch deeper than 0.1 mm.",
        containment="Tape of that reel taken out of use; panel to the cage.",
    ),
}
"""By panel; each is disposed of as its story says."""

WAITING_ON = "TW-1051"
"""The panel with a proposal that waits for the design organisation's answer."""
WAITING = Departure(
    description="TC3 read 154.8 °C at most, 1.8 °C above the band, for four minutes.",
    requirement="Cycle KH-150 revision C: 150 °C, 3 °C either side, no excursion.",
    containment="The panel stands in the cage with its red tag.",
)

RECALLED_BY = "EC-5"
"""The tester that is on hold for one day of its work: what rests on that day is recalled."""
RECALLED_LOAD = "L-202"
"""The load whose coupons were read on that day."""
RECALL_REASON = (
    "The probe was found chipped at one edge; by the workshop's log it fell on the morning of "
    "that day."
)
CONFIRMED_ON = "TW-1042"
"""A released panel that was held by the auditor, and whose release was confirmed."""
REFUSED_ON = "TW-1064"
"""The panel that somebody tried to release on readings of their own."""


PIECES, PIECE_LENGTH_MM = ("TW-1081", "TW-1082"), 4190
"""What the divided panel of the scenario became."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPlace:
    """A place with a mark to scan."""

    code: str
    name: str
    is_quarantine: bool = False


QUARANTINE = DemoPlace(code="QC-1", name="Cage by the west door", is_quarantine=True)
RACK = DemoPlace(code="RK-3", name="Rack 3, forming hall")
DISPATCH = DemoPlace(code="DS-1", name="Dispatch bay")
PLACES = (QUARANTINE, RACK, DISPATCH)
LEFT_IN_RACK = "TW-1053"
"""The held panel that nobody has brought to quarantine."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOrder:
    """A customer's order and the panels it is for, by their serial numbers, both included."""

    number: str
    customer: str
    panels: tuple[int, int]
    placed_days_ago: int
    stated: tuple[str, str, str] | None = None
    """Table or cycle, revision and clause that the order states."""
    later_revisions: bool = False
    rework_needs_customer: bool = False
    note: str = ""


COMPOSED_FOR = "HW-2207"
ORDERS = (
    DemoOrder(
        number="CV-4471",
        customer="Corvane Aerostructures (invented)",
        panels=(1041, 1043),
        placed_days_ago=88,
        note="First lot of the lower skins.",
    ),
    DemoOrder(
        number="CV-4502",
        customer="Corvane Aerostructures (invented)",
        panels=(1044, 1046),
        placed_days_ago=60,
        stated=("KS-2", "A", "clause 4.2"),
    ),
    DemoOrder(
        number="CV-4519",
        customer="Corvane Aerostructures (invented)",
        panels=(1047, 1055),
        placed_days_ago=45,
    ),
    DemoOrder(
        number="HW-2188",
        customer="Hallowmere Wings (invented)",
        panels=(1061, 1072),
        placed_days_ago=33,
        rework_needs_customer=True,
    ),
    DemoOrder(
        number="HW-2195",
        customer="Hallowmere Wings (invented)",
        panels=(1073, 1076),
        placed_days_ago=20,
        later_revisions=True,
    ),
    DemoOrder(
        number=COMPOSED_FOR,
        customer="Hallowmere Wings (invented)",
        panels=(1077, 1077),
        placed_days_ago=6,
        stated=("HX-31", "1", "annex B"),
        note="Annex B asks for more hardness than the shop's own table does.",
    ),
)
EXTRA_TABLE, COMPOSED_TABLE = "HX-31", "QT-31-HW"
"""The customer's own table, and the one composed of it and the shop's."""


def order_of(panel: str) -> str:
    """The number of the order that the panel is for; of some no order is on record."""
    serial = int(panel.removeprefix("TW-"))
    for order in ORDERS:
        if order.panels[0] <= serial <= order.panels[1]:
            return order.number
    return f"WO-{7000 + serial}"


STEPS = tuple(timedelta(minutes=minutes) for minutes in (25, 50, 75, 100))
"""After a hold: opened, proposed, and answered twice."""
