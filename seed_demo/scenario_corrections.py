"""The invented shop's correction tables: for round coupons, and for coupons clad on both faces.

Every figure here is made up.
"""

from dataclasses import dataclass
from typing import Any

from seed_demo.scenario_papers import CLAD_CORRECTION, ROUND_CORRECTION, SOURCE


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCorrection:
    """A correction table in the form of a CORRECTION.json, who wrote it and who verified it.

    ``verified_by`` is None where it waits for a second person.
    """

    code: str
    paper: dict[str, Any]
    written_by: str
    verified_by: str | None


def _round(revision: str, additions: list[list[str]]) -> dict[str, Any]:
    """A revision of CT-1: what is added to a number read on the round face of a bar."""
    return {
        "name": "Hardness read on round bar",
        "revision": revision,
        "quantity": "hardness",
        "scale": "HBW 2.5/62.5",
        "reason": "curvature",
        "parameter": "diameter_mm",
        "parameters": ["8", "12", "20", "32"],
        "readings": ["100", "130", "160", "200"],
        "additions": additions,
        "source": SOURCE,
        "obtained": "invented",
    }


CORRECTIONS = (
    DemoCorrection(
        code=ROUND_CORRECTION,
        paper=_round(
            "A",
            [
                ["7.5", "5.1", "3.1", "1.9"],
                ["6.3", "4.2", "2.5", "1.5"],
                ["5.2", "3.4", "2.0", "1.2"],
                ["4.4", "2.8", "1.6", "0.9"],
            ],
        ),
        written_by="skestle",
        verified_by="rhalvarth",
    ),
    DemoCorrection(
        code=CLAD_CORRECTION,
        paper={
            "name": "Conductivity read through the cladding",
            "revision": "A",
            "quantity": "conductivity",
            "unit": "%IACS",
            "reason": "clad",
            "parameter": "thickness_mm",
            "parameters": ["1.0", "2.0", "4.0", "6.0"],
            "readings": ["32", "38", "46"],
            "additions": [
                ["-3.4", "-2.1", "-1.1", "-0.7"],
                ["-2.8", "-1.7", "-0.9", "-0.5"],
                ["-2.0", "-1.2", "-0.6", "-0.3"],
            ],
            "source": SOURCE,
            "obtained": "invented",
        },
        written_by="mdunfold",
        verified_by="obrantwood",
    ),
)

WAITING_CORRECTION = DemoCorrection(
    code=ROUND_CORRECTION,
    paper=_round(
        "B",
        [
            ["7.3", "4.9", "3.0", "1.8"],
            ["6.3", "4.2", "2.5", "1.5"],
            ["5.2", "3.4", "2.0", "1.2"],
            ["4.5", "2.9", "1.7", "1.0"],
        ],
    ),
    written_by="skestle",
    verified_by=None,
)
"""Written with new figures at the ends, and not yet compared by a second person."""
