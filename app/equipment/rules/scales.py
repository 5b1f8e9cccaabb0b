"""What a scale of hardness says of force and ball. Pure.

Sources: ASTM E10 and ISO 6506-1 (HBW D/n: a ball of D mm under n kgf), ASTM E92 and ISO 6507-1
(HVn: n kgf); a force may be off by 1 % (ISO 6506-2, ISO 6507-2). From memory.
"""

import re
from dataclasses import dataclass
from decimal import Decimal

N_OF_ONE_KGF = Decimal("9.80665")
_FORCE_SHARE = Decimal("0.01")

_BRINELL = re.compile(r"HBW (?P<ball>[\d.]+)/(?P<kgf>[\d.]+)\Z")
_VICKERS = re.compile(r"HV(?P<kgf>[\d.]+)\Z")


@dataclass(frozen=True, slots=True)
class ScaleFigures:
    """Force in newtons and ball in mm that a scale's own symbol states; None: it states none."""

    force_n: Decimal | None = None
    ball_mm: Decimal | None = None


def figures_of_scale(scale: str) -> ScaleFigures:
    """What the symbol of a scale states: HBW 10/500 a ball of 10 mm under 500 kgf."""
    if found := _BRINELL.match(scale):
        return ScaleFigures(Decimal(found["kgf"]) * N_OF_ONE_KGF, Decimal(found["ball"]))
    if found := _VICKERS.match(scale):
        return ScaleFigures(Decimal(found["kgf"]) * N_OF_ONE_KGF)
    return ScaleFigures()


def why_not_of_scale(
    scale: str, *, force_n: Decimal | None, ball_mm: Decimal | None
) -> dict[str, str]:
    """A sentence for each figure that contradicts the scale's symbol, by field; empty: none does.

    Figures left out contradict nothing.
    """
    says, wrong = figures_of_scale(scale), {}
    if says.ball_mm is not None and ball_mm is not None and ball_mm != says.ball_mm:
        wrong["ball_mm"] = f"{scale} means a ball of {says.ball_mm} mm; correct it or the scale."
    if says.force_n is not None and force_n is not None:
        nominal = says.force_n
        if abs(force_n - nominal) > _FORCE_SHARE * nominal:
            wrong["force_n"] = (
                f"{scale} means a force of {nominal:.4g} N within 1 %; correct it or the scale."
            )
    return wrong
