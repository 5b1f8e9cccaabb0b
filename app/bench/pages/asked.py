"""What a bench session's page is asked to show."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.errors import Refusal


@dataclass(frozen=True)
class Asked:
    """What the session page is asked to show: a coupon, a saved one, a check; or a form again.

    ``sizes``: the sizes of indentations are keyed instead of numbers. ``moved`` names the tester at
    which the coupon was scanned, where it is entered at another one.
    """

    coupon: str = ""
    saved: str = ""
    check: str = ""
    sizes: bool = False
    moved: str = ""
    fields: int = 0
    typed: Mapping[str, str] = field(default_factory=dict)
    refusal: Refusal | None = None
