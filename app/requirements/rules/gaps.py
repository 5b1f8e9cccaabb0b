"""What an acceptance table leaves open between its entries: coupons that no entry is for. Pure.

Entries that could match the same coupon are refused when a table is read; what no entry is for is
no fault of the table's form, so it is shown to whoever writes and verifies it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.judging.rounding import shown
from app.judging.witness.acceptance import Entry, Surface, Table, ThicknessRange
from app.judging.witness.acceptance_checks import material
from app.requirements.rules.parts import Part


@dataclass(frozen=True, slots=True)
class Gap:
    """A thickness range within a material's outermost thicknesses that no entry is for.

    ``material`` are alloy, temper and product form; ``surfaces`` those it is open on. ``is_whole``:
    no entry at all is for these surfaces.
    """

    material: str
    surfaces: tuple[Surface, ...]
    thickness: ThicknessRange
    is_whole: bool

    @property
    def words(self) -> str:
        """What is open, in one sentence."""
        on = " or ".join(surface.value for surface in self.surfaces)
        if self.is_whole:
            return f"No entry is for {on} coupons: they are never judged."
        surface = "" if len(self.surfaces) == len(Surface) else f" and {on} surface"
        return f"No entry is for coupons of {_span(self.thickness)}{surface}."


def gaps(table: Table) -> tuple[Gap, ...]:
    """Everything between the thinnest and thickest of a material that no entry is for.

    Looked at for each material that the table names (alloy, temper, product form) and each surface;
    an entry of any surface is for all three. Where two ranges leave one thickness out between them,
    that point is a gap.
    """
    materials: dict[tuple[str, str, str], list[Entry]] = {}
    for entry in table.entries:
        materials.setdefault(material(entry.key), []).append(entry)
    return tuple(gap for entries in materials.values() for gap in _gaps_of(entries))


def gap_parts(table: Table) -> tuple[Part, ...]:
    """What the table leaves open, as one part that the verifier ticks; empty where nothing is."""
    lines = tuple((gap.material, gap.words) for gap in gaps(table))
    title = "What no entry is for"
    return (Part("gaps", title, lines, ("Material", "Left open")),) if lines else ()


def _gaps_of(entries: Sequence[Entry]) -> Iterable[Gap]:
    key = entries[0].key
    every = [entry.key.thickness for entry in entries]
    hull = _hull(every)
    open_on: dict[ThicknessRange, list[Surface]] = {}
    for surface in Surface:
        ranges = [one.key.thickness for one in entries if one.key.surface in {None, surface}]
        for piece in _uncovered(ranges, hull):
            open_on.setdefault(piece, []).append(surface)
    for piece, surfaces in open_on.items():
        yield Gap(
            " ".join(name.strip() for name in (key.alloy, key.temper, key.form)),
            tuple(surfaces),
            piece,
            is_whole=piece == hull,
        )


def _hull(ranges: Iterable[ThicknessRange]) -> ThicknessRange:
    """From the lowest end of all to the highest."""
    every = list(ranges)
    lower, lower_excluded = min((one.lower, not one.lower_included) for one in every)
    upper, upper_included = max((one.upper, one.upper_included) for one in every)
    return ThicknessRange(lower, upper, not lower_excluded, upper_included)


def _uncovered(ranges: Iterable[ThicknessRange], hull: ThicknessRange) -> Iterable[ThicknessRange]:
    """The pieces of ``hull`` in none of the ranges, which do not overlap."""
    begins, begins_included = hull.lower, hull.lower_included
    for one in sorted(ranges, key=_from_below):
        piece = ThicknessRange(begins, one.lower, begins_included, not one.lower_included)
        if not piece.is_empty():
            yield piece
        begins, begins_included = one.upper, not one.upper_included
    rest = ThicknessRange(begins, hull.upper, begins_included, hull.upper_included)
    if not rest.is_empty():
        yield rest


def _from_below(one: ThicknessRange) -> tuple[Decimal, bool, Decimal]:
    return one.lower, not one.lower_included, one.upper


def _span(thickness: ThicknessRange) -> str:
    if thickness.lower == thickness.upper:
        return f"exactly {shown(thickness.lower)} mm"
    return str(thickness)
