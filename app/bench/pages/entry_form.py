"""What the form for a scanned coupon's readings shows."""

import secrets
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from app.bench import service
from app.bench.forms import by_sizes, number_of_fields
from app.bench.pages.asked import Asked
from app.bench.queries.entry import Ground, TesterAt
from app.bench.queries.places import Offer
from app.bench.queries.sessions import BenchAtWork


def entry_form(offer: Offer, bench: BenchAtWork, ground: Ground, asked: Asked) -> dict[str, Any]:
    """The scanned coupon and the fields its readings are keyed into.

    What was typed comes first; else what is kept of it from before; else the temperatures last
    given, to be confirmed or keyed over.
    """
    typed: Mapping[str, Any] = asked.typed
    draft = None if typed else ground.draft
    if draft is not None:
        typed = draft.fields
    elif not typed:
        typed = {"block_c": ground.block_c, "coupon_c": ground.coupon_c}
    kept = {name: str(text) for name, text in typed.items() if text is not None}
    missing = offer.place.missing if offer.place else 1
    fields = min(max(asked.fields, number_of_fields(kept), missing), service.MOST_READINGS)
    sized = ground.tester.sized
    return {
        "seat": offer.seat,
        "fields": list(range(1, fields + 1)),
        "may_add": fields < service.MOST_READINGS,
        "hardness": bench.quantity == "hardness",
        "conductivity": bench.quantity == "conductivity",
        "set_number": offer.place.set_number if offer.place else None,
        "submission": kept.get("submission") or secrets.token_urlsafe(24),
        "seen": kept.get("seen") or len(offer.file.readings),
        "typed": kept,
        "kept_at": None if draft is None else draft.saved_at,
        "step": ground.tester.resolution,
        "size_words": None if sized is None else sized.size_words,
        "by_sizes": sized is not None and (asked.sizes or by_sizes(kept)),
        "room": _room(bench, ground.tester),
        "why_not": ground.why_not,
        "blind": offer.file.table.blind,
        "late": bool(kept.get("measured_at") or kept.get("late_reason")),
    }


def _room(bench: BenchAtWork, tester: TesterAt) -> str | None:
    """How far apart indents like those on the session's block must lie; None where unknown."""
    if bench.quantity != "hardness" or not bench.checks:
        return None
    certified: Decimal = bench.checks[-1].certified
    room = service.room_for(tester, certified)
    return None if room is None else f"For {certified} {tester.unit}: {room.words}"
