"""When an eddy-current conductivity reading may be believed. Pure.

Source: MIL-STD-1537C 5.1.2 (temperatures); ASTM E1004 (thickness in standard depths of penetration;
the factor 2.6 from memory).
"""

from decimal import Decimal, localcontext
from fractions import Fraction

from app.judging.rounding import round_to_place, shown, shown_working
from app.judging.witness.indentation import DIGITS, PI

LARGEST_DIFFERENCE_C = Decimal(3)
DEPTHS_NEEDED = Decimal("2.6")
HZ_PER_KHZ = 1000
S_PER_M_OF_ONE_MS_PER_M = 10**6
MM_PER_M = 1000


def temperatures_too_far_apart(coupon_c: Decimal, block_c: Decimal) -> str | None:
    """Why the reading does not count, or None; exactly 3 degC apart still counts."""
    difference = abs(coupon_c - block_c)
    if difference <= LARGEST_DIFFERENCE_C:
        return None
    return (
        f"coupon at {shown(coupon_c)} degC and reference block at {shown(block_c)} degC are "
        f"{shown(difference)} degC apart, more than 3 (MIL-STD-1537C 5.1.2)"
    )


def standard_depth_mm(conductivity_ms_per_m: Fraction, frequency_khz: Decimal) -> Decimal:
    """The standard depth of penetration: sqrt(rho / (pi f mu0)), mu0 = 4 pi 1e-7 H/m, in mm.

    Both arguments are above zero. To 50 digits, of which a page shows a few.
    """
    with localcontext() as context:
        context.prec = DIGITS
        sigma = Decimal(conductivity_ms_per_m.numerator) / conductivity_ms_per_m.denominator
        mu_0 = 4 * PI * Decimal("1e-7")
        hertz = frequency_khz * HZ_PER_KHZ
        rho = 1 / (sigma * S_PER_M_OF_ONE_MS_PER_M)
        return (rho / (PI * hertz * mu_0)).sqrt() * MM_PER_M


def too_thin(
    thickness_mm: Decimal,
    conductivity_ms_per_m: Fraction,
    frequency_khz: Decimal,
    depths_needed: Decimal,
) -> tuple[str | None, str]:
    """Why the reading does not count (or None), and the line of working.

    A thickness equal to the depths needed counts.
    """
    depth = standard_depth_mm(conductivity_ms_per_m, frequency_khz)
    with localcontext() as context:
        context.prec = DIGITS
        needed = depths_needed * depth
        enough = thickness_mm >= needed
    depth_text, needed_text = (
        format(round_to_place(length, to=Decimal("0.0001")), "f") for length in (depth, needed)
    )
    working = (
        f"Standard depth at {shown(frequency_khz)} kHz and "
        f"{shown_working(conductivity_ms_per_m)} MS/m (mean of the conductivity "
        f"readings): {depth_text} mm; times "
        f"{shown(depths_needed)} = {needed_text} mm; coupon {shown(thickness_mm)} mm: "
        f"{'enough' if enough else 'too thin'}"
    )
    if enough:
        return None, working
    reason = (
        f"coupon {shown(thickness_mm)} mm is thinner than {shown(depths_needed)} standard depths "
        f"of penetration, {needed_text} mm at {shown(frequency_khz)} kHz (ASTM E1004)"
    )
    return reason, working
