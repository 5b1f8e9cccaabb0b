"""What the pages of the run, the bag and the unwrapping send."""

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from app.errors import Refusal
from app.judging.units import VACUUM_UNITS
from app.loads.bags.bag import KPA, LeakReading
from app.loads.forms import Code, Share
from app.loads.service import Found, Unwrapped
from app.web.forms import FormModel, TypedFigure, TypedMoment, parse

KINDS = (
    "scratch",
    "dent",
    "blister",
    "discoloured patch",
    "bag or tape mark",
    "wrinkle print",
    "foreign body",
    "corrosion",
)
"""What a surface search finds most; anything else is written out."""
OTHER_KIND = "other"
FINDS_AT_FIRST, _FINDS_MORE, MOST_FINDS = 1, 3, 40


class StartForm(FormModel):
    """The door closed."""

    started_at: TypedMoment | None = Field(None, title="time the door closed")


class EndForm(FormModel):
    """The load taken out."""

    ended_at: TypedMoment | None = Field(None, title="time it was taken out")


class CancelForm(FormModel):
    """A load that will not be run."""

    reason: str = Field("", max_length=2000)


class OtherLotForm(FormModel):
    """A coupon of another lot, accepted."""

    coupon: Code
    panel: Code
    reason: str = Field("", max_length=2000)
    password: str = Field(max_length=1000)


def _unit(typed: str) -> str:
    if typed not in VACUUM_UNITS:
        raise ValueError(f"{typed!r} is no unit here; choose one of {', '.join(VACUUM_UNITS)}.")
    return typed


class LeakForm(FormModel):
    """A bag's leak check."""

    panel: Code
    gauge: Code | None = None
    unit: Annotated[str, AfterValidator(_unit)] = KPA
    start: TypedFigure = Field(title="level at the start")
    end: TypedFigure = Field(title="level at the end")
    minutes: TypedFigure = Field(title="time between")
    taken_at: TypedMoment | None = Field(None, title="time of the check")

    def reading(self) -> LeakReading:
        """As it is judged."""
        return LeakReading(self.start, self.end, self.minutes, self.unit)


class FindRow(FormModel):
    """One thing that the surface search found."""

    kind: str = Field(max_length=40)
    other: str = Field("", title="what it is", max_length=80)
    x: Share = Field(title="along the length")
    y: Share = Field(title="across the width")
    size: TypedFigure | None = Field(None, title="size")
    words: str = Field("", max_length=1000)


class UnwrappingForm(FormModel):
    """What was found on unwrapping; the coupons' and the finds' fields are read beside it."""

    panel: Code
    bag: Literal["intact", "burst"]
    surface: Literal["clear", "found", "not yet"]
    findings: str = Field("", max_length=4000)
    searched: str = Field("", max_length=2000)
    contour_gap: TypedFigure | None = Field(None, title="largest gap")
    contour_limit: TypedFigure | None = Field(None, title="largest gap permitted")
    taken_at: TypedMoment | None = Field(None, title="time of unwrapping")

    def unwrapped(self, typed: Mapping[str, str]) -> Unwrapped:
        """With each coupon's fate, and what was found where.

        Fields ``coupon:CODE`` hold "recovered", "missing" or "unmarked".

        Raises:
            Refusal: a find cannot be read.
        """
        fates = {
            name.removeprefix("coupon:"): fate
            for name, fate in typed.items()
            if name.startswith("coupon:")
        }
        return Unwrapped(
            bag_intact=self.bag == "intact",
            surface_clear={"clear": True, "found": False, "not yet": None}[self.surface],
            findings=self.findings,
            recovered=frozenset(code for code, fate in fates.items() if fate == "recovered"),
            missing=frozenset(code for code, fate in fates.items() if fate == "missing"),
            unmarked=frozenset(code for code, fate in fates.items() if fate == "unmarked"),
            searched=self.searched,
            contour_gap_mm=self.contour_gap,
            contour_limit_mm=self.contour_limit,
            places=finds_of(typed),
        )


def find_rows(typed: Mapping[str, str]) -> int:
    """How many rows for finds the form shows; its button for more adds some."""
    said = typed.get("find_rows", "")
    count = int(said) if said.isascii() and said.isdigit() else FINDS_AT_FIRST
    if typed.get("act") == "more finds":
        count += _FINDS_MORE
    return min(count, MOST_FINDS)


def finds_of(typed: Mapping[str, str]) -> tuple[Found, ...]:
    """What was found where; a row in which nothing is filled in is left out.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    problems: dict[str, str] = {}
    found = []
    for number in range(1, find_rows(typed) + 1):
        given = {name: typed.get(f"find_{name}_{number}", "") for name in FindRow.model_fields}
        if not any(text.strip() for text in given.values()):
            continue
        try:
            row = parse(FindRow, given)
            kind = _kind(row)
        except Refusal as refusal:
            for name, sentence in refusal.fields.items():
                problems[f"find_{name}_{number}"] = f"Find {number}: {sentence}"
            continue
        found.append(Found(kind=kind, x=row.x, y=row.y, size_mm=row.size, words=row.words))
    if problems:
        raise Refusal("Nothing was recorded yet: " + " ".join(problems.values()), fields=problems)
    return tuple(found)


def _kind(row: FindRow) -> str:
    """What was found, in one of the usual words or in the person's own."""
    kind = row.other if row.kind == OTHER_KIND else row.kind
    if not kind:
        sentence = "Say what it is."
        raise Refusal(sentence, fields={"other": sentence})
    return kind


class PhotographForm(FormModel):
    """Photographs of a panel; ``about`` is the key of what they show, empty for the panel."""

    panel: Code
    about: int | None = None
    caption: str = Field("", max_length=200)
