"""What the forms for a paper send, and those that verify and withdraw it."""

import json
from decimal import Decimal

from pydantic import Field

from app.documents.paper import LARGEST_PAPER_BYTES
from app.errors import Refusal
from app.judging.units import UNITS, Quantity
from app.judging.witness.acceptance import Obtained
from app.requirements.rules import ShopRules
from app.web.entries import TypedCode
from app.web.forms import FormModel, Typed, TypedFigure, TypedMoment


class WrittenAgain(FormModel):
    """What every form that writes a paper may say besides."""

    again: str | None = Field(default=None, title="why it is written again", max_length=2000)


class PaperForm(WrittenAgain):
    """A paper that names its own revision; it comes beside the form, typed or as a file."""

    code: TypedCode = Field(title="identity")
    source_document: str = Field(title="source document", max_length=200)


class SheetForm(WrittenAgain):
    """An acceptance table as a spreadsheet; the file comes beside it."""

    code: TypedCode = Field(title="identity")
    sheet: str | None = Field(default=None, max_length=60)


class MappingPaperForm(WrittenAgain):
    """A logger mapping; its paper comes beside it, typed or as a file."""

    code: TypedCode = Field(title="identity")
    revision: str = Field(max_length=20)
    source_document: str = Field(title="source document", max_length=200)


class CycleForm(WrittenAgain):
    """A cycle, and what the shop asks of every panel run to it."""

    code: TypedCode = Field(title="identity")
    revision: str = Field(max_length=20)
    source_document: str = Field(title="source document", max_length=200)
    sensors_per_panel: int = Field(title="load sensors on each panel")
    coupons_per_panel: int = Field(title="coupons on each panel")
    leak_limit_kpa: TypedFigure = Field(title="largest loss in the leak check")
    leak_minutes: TypedFigure = Field(title="length of the leak check")

    def shop_rules(self) -> ShopRules:
        """What the shop asks of every panel."""
        return ShopRules(
            self.sensors_per_panel, self.coupons_per_panel, self.leak_limit_kpa, self.leak_minutes
        )


class EntryForm(WrittenAgain):
    """A table of one entry, filled in by hand: a hardness and a conductivity limit."""

    code: TypedCode = Field(title="identity")
    name: str = Field(max_length=120)
    revision: str = Field(max_length=20)
    source_document: str = Field(title="source document", max_length=200)
    source: str = Field(title="clause or table of the source", max_length=200)
    obtained: Obtained = Field(title="how the values came here")
    alloy: str = Field(max_length=40)
    temper: str = Field(max_length=40)
    product_form: str = Field(title="product form", max_length=40)
    thickness_from: TypedFigure = Field(title="thickness from")
    thickness_to: TypedFigure = Field(title="thickness to")
    readings_min: int = Field(title="least number of readings", ge=1)
    hardness_scale: str | None = Field(default=None, title="hardness scale", max_length=20)
    hardness_min: TypedFigure | None = Field(default=None, title="least hardness")
    hardness_max: TypedFigure | None = Field(default=None, title="largest hardness")
    hardness_source: str | None = Field(
        default=None, title="source of the hardness limits", max_length=200
    )
    conductivity_unit: str | None = Field(default=None, title="conductivity unit", max_length=20)
    conductivity_min: TypedFigure | None = Field(default=None, title="least conductivity")
    conductivity_max: TypedFigure | None = Field(default=None, title="largest conductivity")
    conductivity_source: str | None = Field(
        default=None, title="source of the conductivity limits", max_length=200
    )

    def paper(self) -> str:
        """The table as a TABLE.json; a quantity that nothing is asked of is left out.

        Raises:
            Refusal: a limit stands without its scale or unit, or a scale or unit without a limit.
        """
        hardness = _asked(
            "hardness", "scale", self.hardness_scale, self.hardness_min, self.hardness_max
        )
        conductivity = _asked(
            "conductivity",
            "unit",
            self.conductivity_unit,
            self.conductivity_min,
            self.conductivity_max,
        )
        criteria = [
            {**asked, "source": own, "statistic": statistic, "readings_min": self.readings_min}
            for asked, own, statistic in (
                (hardness, self.hardness_source, "each"),
                (conductivity, self.conductivity_source, "mean"),
            )
            if asked
        ]
        entry = {
            "alloy": self.alloy,
            "temper": self.temper,
            "form": self.product_form,
            "thickness_mm": {
                "from": str(self.thickness_from),
                "to": str(self.thickness_to),
                "from_included": True,
                "to_included": True,
            },
            "surface": None,
            "decision": "simple",
            "source": self.source,
            "obtained": self.obtained.value,
            "criteria": criteria,
        }
        return json.dumps({"name": self.name, "revision": self.revision, "entries": [entry]})


class VerifyForm(FormModel):
    """A verification: which revision, from when, signed."""

    revision: str = Field(max_length=20)
    attempt: int = 1
    in_force_from: TypedMoment | None = Field(default=None, title="in force from")
    password: str = Field(title="your password", max_length=1000)


class KeyForm(FormModel):
    """A second keying: which revision, signed; the values come beside it."""

    revision: str = Field(max_length=20)
    attempt: int = 1
    password: str = Field(title="your password", max_length=1000)


class WithdrawForm(FormModel):
    """A withdrawal and its reason."""

    revision: str = Field(max_length=20)
    reason: str = Field(max_length=2000)


OBTAINED = [(one.value, one.value) for one in Obtained]
"""How values came here, as choices of a form."""
HARDNESS_SCALES = UNITS[Quantity.HARDNESS]
CONDUCTIVITY_UNITS = UNITS[Quantity.CONDUCTIVITY]


def paper_of(typed: Typed) -> tuple[bytes, str]:
    """The paper that was sent and what to call it: the file, or else the text typed in.

    Raises:
        Refusal: there is neither, or both.
    """
    upload = typed.files.get("file")
    text = typed.get("paper", "")
    if upload is not None and upload.filename:
        if text.strip():
            raise _refusal("There is a file and a typed paper; send one of the two.")
        return upload.file.read(LARGEST_PAPER_BYTES + 1), upload.filename
    if not text.strip():
        raise _refusal("The paper is missing; choose its file or paste its text.")
    return text.encode(), "typed paper"


def _refusal(sentence: str, field: str = "paper") -> Refusal:
    return Refusal(sentence, fields={field: sentence})


def _asked(
    quantity: str, kind: str, scale: str | None, low: Decimal | None, high: Decimal | None
) -> dict[str, str | None]:
    """One criterion's scale or unit and its limits; empty where nothing is asked."""
    limited = low is not None or high is not None
    if scale is None and not limited:
        return {}
    if scale is None:
        raise _refusal(f"The {quantity} limit has no {kind}; choose it.", f"{quantity}_{kind}")
    if not limited:
        sentence = f"{scale} is chosen, but no {quantity} limit is given; give one of the two."
        raise _refusal(sentence, f"{quantity}_min")
    return {
        "quantity": quantity,
        kind: scale,
        "min": None if low is None else str(low),
        "max": None if high is None else str(high),
    }
