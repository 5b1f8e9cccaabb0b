"""The invented shop's cycles and acceptance tables, in force or waiting to be verified.

Every limit here is made up.
"""

from dataclasses import dataclass, replace
from typing import Any

from seed_demo.furnace_course import Segment
from seed_demo.furnace_physics import AIR_SENSORS
from seed_demo.logger_file import VACUUM_COLUMN

SOURCE = "Invented for the demonstration; describes no real material or requirement"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCycle:
    """A cycle: the paper it is judged by, and the program the furnace runs for it.

    ``verified_by`` is None where it waits for a second person.
    """

    code: str
    revision: str
    name: str
    written_by: str
    verified_by: str | None
    required_sensors_least: int
    stages: tuple[dict[str, Any], ...]
    vacuum_least_kpa: str
    program: tuple[Segment, ...]
    ageing: dict[str, Any]

    def paper(self, sensors: tuple[str, ...]) -> dict[str, Any]:
        """The cycle as a CYCLE.json, for the load sensors named; air sensors do not decide."""
        return {
            "name": self.name,
            "temperature_unit": "C",
            "stages": [dict(stage) for stage in self.stages],
            "sensors": [name for name in sensors if name not in AIR_SENSORS],
            "max_gap_s": 120,
            "corrections": {},
            "excursions": None,
            "heating_rate": {"max_per_min": "2.0", "window_s": 600},
            "cooling_rate": None,
            "vacuum": {
                "column": VACUUM_COLUMN,
                "min_kpa": self.vacuum_least_kpa,
                "from": "start",
                "to": "soak_end",
            },
            "ageing": dict(self.ageing),
        }


def _stage(set_c: str, either_side_c: str, soak_h: int) -> dict[str, Any]:
    return {
        "set": set_c,
        "below": either_side_c,
        "above": either_side_c,
        "soak_min_s": soak_h * 3600,
        "soak_max_s": None,
    }


_COOLING = Segment(target_c=40.0, rate_c_per_min=1.5, hold_s=600, within_c=25.0)

CYCLES = (
    DemoCycle(
        code="KH-150",
        revision="C",
        name="One day at 150 degC, clamped and bagged",
        written_by="skestle",
        verified_by="mdunfold",
        required_sensors_least=8,
        stages=(_stage("150", "3", 24),),
        vacuum_least_kpa="75",
        program=(
            Segment(target_c=150.0, rate_c_per_min=0.75, hold_s=24 * 3600 + 300, within_c=2.5),
            _COOLING,
        ),
        ageing={"activation_energy_j_per_mol": 118000, "reference": 150},
    ),
    DemoCycle(
        code="KS-2",
        revision="A",
        name="Two stages, 120 then 160 degC, clamped and bagged",
        written_by="mdunfold",
        verified_by="rhalvarth",
        required_sensors_least=8,
        stages=(_stage("120", "4", 6), _stage("160", "4", 10)),
        vacuum_least_kpa="75",
        program=(
            Segment(target_c=120.0, rate_c_per_min=0.75, hold_s=6 * 3600 + 300, within_c=3.0),
            Segment(target_c=160.0, rate_c_per_min=0.75, hold_s=10 * 3600 + 300, within_c=3.0),
            _COOLING,
        ),
        ageing={"activation_energy_j_per_mol": 109000, "reference": 160},
    ),
)


def _span(lower: str, upper: str) -> dict[str, str]:
    return {"from": lower, "to": upper}


def _hardness(least: str, **more: Any) -> dict[str, Any]:
    return {
        "quantity": "hardness",
        "scale": "HRB",
        "min": least,
        "max": None,
        "statistic": "each",
        "readings_min": 3,
        "range_max": "3.0",
        "rounding": "rounding",
        "instruments": ["fixed"],
        "possible": _span("20", "100"),
        "usual": _span("74", "94"),
        **more,
    }


def _conductivity(limits: dict[str, Any]) -> dict[str, Any]:
    return {
        "quantity": "conductivity",
        "unit": "%IACS",
        "statistic": "mean",
        "readings_min": 3,
        "rounding": "rounding",
        "standards_apart": "10.0",
        "possible": _span("20", "60"),
        "usual": _span("33", "43"),
        **limits,
    }


YIELD_HIGHEST_MPA = "436"
ROUND_CORRECTION, CLAD_CORRECTION = "CT-1", "CT-2"
"""The correction tables that the entries for round and for clad coupons name."""


def _entry(
    alloy: str,
    temper: str,
    from_mm: str,
    to_mm: str,
    criteria: list[dict[str, Any]],
    *,
    form: str = "plate",
    surface: str | None = None,
    by_another: bool = False,
) -> dict[str, Any]:
    return {
        "alloy": alloy,
        "temper": temper,
        "form": form,
        "thickness_mm": {
            "from": from_mm,
            "to": to_mm,
            "from_included": True,
            "to_included": False,
        },
        "surface": surface,
        "decision": "simple",
        "retest": {"further": 2, "of": "sets", "by_another": by_another},
        "source": SOURCE,
        "obtained": "invented",
        "criteria": criteria,
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoTable:
    """An acceptance table in the form of a TABLE.json, who wrote it and who verified it.

    ``verified_by`` is None where it waits for a second person.
    """

    code: str
    paper: dict[str, Any]
    written_by: str
    verified_by: str | None


def _coupons_m31(
    revision: str, *, thin_hardness: str, hardness_rise: dict[str, str] | None = None
) -> dict[str, Any]:
    """A revision of QT-31: plate in two ranges of thickness, round bar, and clad sheet."""
    rise = {} if hardness_rise is None else {"rise": hardness_rise}
    within = {"min": "35.0", "max": "38.5"}
    thin = [_hardness(thin_hardness, **rise), _conductivity(within)]
    thick = [_hardness("82.0", **rise), _conductivity({"min": "35.0", "max": "39.0"})]
    round_bar = [
        _hardness(
            "140",
            scale="HBW 2.5/62.5",
            range_max="8.0",
            possible=_span("40", "220"),
            usual=_span("120", "175"),
            correction=ROUND_CORRECTION,
        )
    ]
    clad = [_conductivity({**within, "correction": CLAD_CORRECTION})]
    return {
        "name": "Witness coupons, M-31 A2",
        "revision": revision,
        "entries": [
            _entry("M-31", "A2", "6.0", "16.0", thin, by_another=True),
            _entry("M-31", "A2", "16.0", "40.0", thick),
            _entry("M-31", "A2", "8.0", "32.0", round_bar, form="round bar"),
            _entry("M-31", "A2", "1.0", "6.0", clad, form="sheet", surface="clad"),
        ],
    }


TABLES = (
    DemoTable(
        code="QT-31",
        paper=_coupons_m31("B", thin_hardness="83.0"),
        written_by="skestle",
        verified_by="rhalvarth",
    ),
    DemoTable(
        code="QT-58",
        paper={
            "name": "Witness coupons, R-58 C4",
            "revision": "A",
            "blind": True,
            "entries": [
                _entry(
                    "R-58",
                    "C4",
                    "6.0",
                    "20.0",
                    [
                        _hardness("81.5", rise=_span("12.0", "24.0")),
                        _conductivity(
                            {
                                "rise": _span("4.0", "11.0"),
                                "resolution": "0.1",
                                "zones": [
                                    {"to": "37.0", "outcome": "reject"},
                                    {
                                        "from": "37.1",
                                        "to": "38.6",
                                        "outcome": "accept_if",
                                        "also": [
                                            {
                                                "quantity": "yield_strength",
                                                "unit": "MPa",
                                                "max": YIELD_HIGHEST_MPA,
                                            }
                                        ],
                                    },
                                    {"from": "38.7", "outcome": "accept"},
                                ],
                            }
                        ),
                    ],
                )
            ],
        },
        written_by="mdunfold",
        verified_by="obrantwood",
    ),
)

CUSTOMERS_TABLE: dict[str, Any] = {
    "name": "Hallowmere annex B (invented), M-31 A2",
    "revision": "1",
    "entries": [
        _entry(
            "M-31",
            "A2",
            "6.0",
            "16.0",
            [_hardness("84.0", max="90.0"), _conductivity({"min": "35.5", "max": "38.5"})],
            by_another=True,
        )
    ],
}
"""A customer's own table for thin plate; asks for more than the shop's."""

# Written, and not yet in force: nobody but the writer has compared them with their source.
WAITING_TABLE = DemoTable(
    code="QT-31",
    paper=_coupons_m31("C", thin_hardness="85.0", hardness_rise=_span("16.0", "28.0")),
    written_by="skestle",
    verified_by=None,
)
MISWRITTEN_TABLE = replace(
    WAITING_TABLE,
    paper=_coupons_m31("C", thin_hardness="80.5", hardness_rise=_span("16.0", "28.0")),
)
"""The same as it was written at first, with two figures of a limit exchanged."""
MISREAD = {"80.5": "85.0"}
"""What the second person keyed where that was written."""
WAITING_CYCLE = replace(
    CYCLES[1],
    revision="B",
    written_by="mdunfold",
    verified_by=None,
    stages=(_stage("120", "4", 6), _stage("160", "3", 10)),
)

# What the shop asks of every bag and panel, whatever the cycle.
SENSORS_PER_PANEL, COUPONS_PER_PANEL = 3, 2
LEAK_LIMIT_KPA, LEAK_MINUTES = "2.5", "10"
