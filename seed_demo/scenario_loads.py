"""The invented furnace loads: what went through which furnace, what happened, where it ends."""

from dataclasses import replace

from seed_demo.furnace_faults import (
    BagBurst,
    DoorOpened,
    Dropout,
    HotDraught,
    LoggerStop,
    SlowStation,
)
from seed_demo.load_plan import HOUR_S, Coupon, Load, Panel, PanelEnd, ShownVerdict


def _pair(
    verdict: ShownVerdict | None = "conforms", *, treatment: int = 1
) -> tuple[Coupon, Coupon]:
    """Two ordinary coupons; without a verdict they are not measured."""
    measured = verdict is not None
    door = Coupon(letter="A", measured=measured, verdict=verdict, treatment=treatment)
    return door, replace(door, letter="B")


PAIR = _pair()
NOT_MEASURED = _pair(None)


def _panel(
    serial: int,
    lot: str,
    ends: PanelEnd,
    coupons: tuple[Coupon, ...] = PAIR,
    *,
    hold: str = "",
    disposition: str = "",
    surface: str = "",
) -> Panel:
    return Panel(
        number=f"TW-{serial}",
        lot=lot,
        former=f"FM-{serial % 4 + 1:02d}",
        ends=ends,
        coupons=coupons,
        hold=hold,
        disposition=disposition,
        surface=surface,
    )


END = PanelEnd

VOID_ASKED_ON = "TW-1066-A"
"""The coupon with a reading whose void waits for an answer."""
SLIP_ON = "TW-1042-A"
"""The coupon with a slip of the key, set right by the person who made it."""
TURNED_ON, TURN_ASKED_ON = "TW-1043-B", "TW-1061-B"
"""Coupons with a slip that spoke against them: one set right with evidence by leave of a second
person, one whose correction still waits for that."""
LATE_ON = "TW-1050-B"
"""The coupon whose hardness was entered some minutes after it was measured."""
DRAFT_ON = "TW-1066-B"
"""The coupon that somebody is keying now, with nothing of it recorded yet."""
SPARE_ON = ("TW-1049-B", "TW-1049-C")
"""The coupon that was not found, and the spare that stands in for it."""


_LOST = Coupon(letter="B", measured=False, missing=True, verdict=None)
"""A coupon that was not found when its panel was unwrapped."""
_ROUND = Coupon(
    letter="R", diameters_mm=(("0.734", "0.737"), ("0.731", "0.735"), ("0.738", "0.736"))
)
"""A round coupon that rides along to try the new bar, and is read under the microscope."""

LOADS = (
    Load(
        number="L-201",
        furnace="AK1",
        cycle="KH-150",
        story="A clean run; all three panels released.",
        days_before=26,
        seed=201,
        sensors_per_panel=4,
        panels=(
            _panel(1041, "ML-0712", END.RELEASED),
            _panel(1042, "ML-0712", END.RELEASED),
            _panel(1043, "ML-0712", END.RELEASED),
        ),
    ),
    Load(
        number="L-202",
        furnace="AK2",
        cycle="KS-2",
        story="A clean two-stage run; the logger paused for a minute, which the cycle permits.",
        days_before=24,
        seed=202,
        faults=(LoggerStop(at_s=9 * HOUR_S, lasts_s=60),),
        readings_by="pquennell",
        baselines=True,
        panels=(
            _panel(1044, "ML-0725", END.RECALLED),
            _panel(
                1045,
                "ML-0725",
                END.RECALLED,
                hold="The mill certificate shows cast V1133 in one place; the mill is asked.",
                disposition="The mill confirms in writing that V1133 was a slip of the pen; the "
                "lot is of cast V1138.",
            ),
            _panel(1046, "ML-0725", END.RECALLED),
        ),
    ),
    Load(
        number="L-203",
        furnace="AK1",
        cycle="KH-150",
        story="The record conforms; one coupon is below its hardness limit, and one was not found: "
        "the spare beside it stands in.",
        days_before=21,
        seed=203,
        decided_by="pquennell",
        panels=(
            _panel(1047, "ML-0712", END.RELEASED),
            _panel(
                1048,
                "ML-0712",
                END.HELD,
                (
                    Coupon(letter="A", hardness_shift=-5.2, verdict="does_not_conform"),
                    Coupon(letter="B"),
                ),
                hold="Coupon A is below the hardness limit; metallurgy is asked about the quench.",
            ),
            _panel(
                1049,
                "ML-0712",
                END.RELEASED,
                (Coupon(letter="A"), _LOST, Coupon(letter="C")),
                disposition="Coupon B was swept up with the bag; spare C of the same end conforms.",
            ),
        ),
    ),
    Load(
        number="L-204",
        furnace="AK2",
        cycle="KH-150",
        story="A baffle came loose: one sensor sat in a hot draught and left the band for four "
        "minutes.",
        days_before=18,
        seed=204,
        sensors_per_panel=4,
        faults=(HotDraught(sensor="TC3", at_s=15.5 * HOUR_S, lasts_s=240.0),),
        record="does_not_conform",
        readings_by="tashgill",
        decided_by="imorrowby",
        panels=(
            _panel(
                1050,
                "ML-0719",
                END.USE_AS_IS,
                hold="TC3 read up to 1.8 °C above the band for four minutes.",
                disposition="Four minutes 1.8 °C above the band at one junction add nothing that "
                "the coupons show; skin lag is far longer than the draught.",
            ),
            _panel(
                1051,
                "ML-0719",
                END.HELD,
                (*PAIR, _ROUND),
                hold="One sensor left the band for four minutes.",
            ),
        ),
    ),
    Load(
        number="L-205",
        furnace="AK1",
        cycle="KH-150",
        story="One sensor dropped out for two and a half hours, another for twenty minutes.",
        days_before=16,
        seed=205,
        sensors_per_panel=4,
        faults=(
            Dropout(sensor="TC4", at_s=12.2 * HOUR_S, lasts_s=2.5 * HOUR_S),
            Dropout(sensor="TC6", at_s=19 * HOUR_S, lasts_s=1200.0),
        ),
        record="not_proven",
        panels=(
            _panel(
                1052,
                "ML-0719",
                END.HELD,
                (Coupon(letter="A"), _LOST),
                hold="TC4 is silent for two and a half hours.",
            ),
            _panel(1053, "ML-0719", END.HELD, hold="TC6 is silent for twenty minutes."),
        ),
    ),
    Load(
        number="L-206",
        furnace="RL7",
        cycle="KH-150",
        story="The bag burst in the soak; every coupon passes all the same.",
        days_before=14,
        seed=206,
        sensors_per_panel=4,
        faults=(BagBurst(at_s=18.4 * HOUR_S),),
        record="does_not_conform",
        gauge_unit="mbar",
        bag="burst",
        bag_found="Bag torn along the seal at the back end.",
        readings_by="pquennell",
        panels=(
            _panel(
                1054,
                "ML-0719",
                END.REWORKED,
                hold="Bag burst; contour to be measured.",
                disposition="Contour within its limit; age again in full, second treatment of two.",
            ),
            _panel(1055, "ML-0719", END.HELD, hold="Bag burst; contour to be measured."),
        ),
    ),
    Load(
        number="L-206R",
        furnace="AK2",
        cycle="KH-150",
        story="The panel of the burst bag, aged again in full; released.",
        days_before=7,
        seed=206,
        sensors_per_panel=8,
        decided_by="tashgill",
        panels=(_panel(1054, "ML-0719", END.REWORKED, _pair(treatment=2)),),
    ),
    Load(
        number="L-207",
        furnace="AK2",
        cycle="KS-2",
        story="Conductivity of two panels lies in the conditional zone: a yield strength decides.",
        days_before=11,
        by_mapping=True,
        baselines=True,
        seed=207,
        readings_by="tashgill",
        decided_by="pquennell",
        panels=(
            _panel(
                1056,
                "ML-0725",
                END.RELEASED,
                (
                    Coupon(letter="A", conductivity_shift=-1.7, yield_mpa="428"),
                    Coupon(letter="B", conductivity_shift=-1.8, yield_mpa="431"),
                ),
            ),
            _panel(
                1057,
                "ML-0725",
                END.AWAITING_YIELD,
                (
                    Coupon(letter="A", conductivity_shift=-1.7, verdict="not_proven"),
                    Coupon(letter="B"),
                ),
            ),
            _panel(1058, "ML-0725", END.DIVIDED),
        ),
    ),
    Load(
        number="L-208",
        furnace="AK1",
        cycle="KH-150",
        story="One station heated late and the soak clock did not wait for it: too short a soak, "
        "and one coupon below its conductivity limit.",
        days_before=9,
        seed=208,
        faults=(SlowStation(sensor="TC4", factor=2.2),),
        record="does_not_conform",
        panels=(
            _panel(
                1059,
                "ML-0712",
                END.IN_REWORK,
                hold="Soak shorter than the cycle asks: TC4 came into band late.",
                disposition="Age again in full; second treatment of two permitted.",
            ),
            _panel(
                1060,
                "ML-0712",
                END.SCRAPPED,
                hold="Short soak, and a scorched trailing edge under the tape.",
                disposition="Short soak, and the scorch is deeper than may be blended out.",
                surface="Scorched patch 40 mm by 15 mm at the trailing edge, under the tape.",
            ),
            _panel(
                1061,
                "ML-0719",
                END.HELD,
                (
                    Coupon(letter="A", conductivity_shift=-2.0, verdict="does_not_conform"),
                    Coupon(letter="B", verdict="not_proven"),
                ),
                hold="Soak shorter than the cycle asks.",
            ),
        ),
    ),
    Load(
        number="L-209",
        furnace="RL7",
        cycle="KH-150",
        story="The closing check on a conductivity standard failed: the meter went out of use, the "
        "panels on hold, and all conductivities are to be taken again; of one panel they are.",
        days_before=5,
        seed=209,
        sensors_per_panel=4,
        faults=(DoorOpened(at_s=2.4 * HOUR_S, lasts_s=40.0),),
        closing_check="fails",
        readings_by="tashgill",
        decided_by="imorrowby",
        panels=(
            _panel(1062, "ML-0719", END.HELD, _pair("not_proven")),
            _panel(1063, "ML-0719", END.HELD),
        ),
    ),
    Load(
        number="L-210",
        furnace="AK1",
        cycle="KH-150",
        story="Fresh from the bench, waiting for an inspector who took none of the readings; "
        "logged in degF against elapsed seconds.",
        days_before=3,
        seed=210,
        faults=(Dropout(sensor="TC8", at_s=20 * HOUR_S, lasts_s=60.0),),
        time_style="elapsed",
        unit="F",
        panels=(
            _panel(1064, "ML-0719", END.AWAITING_DECISION),
            _panel(1065, "ML-0719", END.AWAITING_DECISION),
            _panel(
                1066,
                "ML-0719",
                END.AWAITING_BENCH,
                (Coupon(letter="A"), Coupon(letter="B", measured=False, verdict=None)),
            ),
        ),
    ),
    Load(
        number="L-211",
        furnace="RL7",
        cycle="KH-150",
        story="Out of the furnace since yesterday; the logger's file waits to be imported.",
        days_before=2,
        seed=213,
        sensors_per_panel=4,
        imported=False,
        bag="not unwrapped",
        closing_check="none",
        panels=(
            _panel(1071, "ML-0719", END.AWAITING_RECORD, NOT_MEASURED),
            _panel(1072, "ML-0719", END.AWAITING_RECORD, NOT_MEASURED),
        ),
    ),
    Load(
        number="L-212",
        furnace="AK2",
        cycle="KH-150",
        story="In the furnace now, among them a panel aged for the second time.",
        running_for_h=15.5,
        seed=211,
        record=None,
        bag="not unwrapped",
        closing_check="none",
        panels=(
            _panel(1067, "ML-0719", END.IN_FURNACE, NOT_MEASURED),
            _panel(1068, "ML-0719", END.IN_FURNACE, NOT_MEASURED),
            _panel(1059, "ML-0712", END.IN_REWORK, _pair(None, treatment=2)),
        ),
    ),
    Load(
        number="L-213",
        furnace="RL7",
        cycle="KH-150",
        story="Planned for tomorrow morning.",
        days_before=-1,
        seed=212,
        sensors_per_panel=4,
        record=None,
        bag="not unwrapped",
        closing_check="none",
        panels=(
            _panel(1069, "ML-0719", END.PLANNED, NOT_MEASURED),
            _panel(1070, "ML-0719", END.PLANNED, NOT_MEASURED),
        ),
    ),
)
