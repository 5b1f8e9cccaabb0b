"""The cells of an acceptance table's paper. Pure."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from app.judging.rounding import RoundingMethod
from app.judging.units import Quantity
from app.judging.witness.acceptance import INSTRUMENT_BUILDS, RetestOf, Surface
from app.judging.witness.acceptance_checks import same_name
from app.judging.witness.eddy_current import DEPTHS_NEEDED
from app.requirements.rules.cells import Cell, Group, end, figure, pick, word, yes_or_no

_Paper = Mapping[str, Any]
_ENDS = ("not included", "included")
_LOOSE_FIRST = _ENDS[::-1]
_NARROWS = {"from": "up", "to": "down"}
"""In which direction each end of a span moves to narrow it."""
_DECISIONS = {"simple": "simple comparison", "guarded": "guarded by the uncertainty"}
_STATISTICS = {"each": "each reading", "mean": "the mean"}
_ROUNDINGS = {
    RoundingMethod.ROUNDING.value: "rounded",
    RoundingMethod.ABSOLUTE.value: "as found, not rounded",
}
_OUTCOMES = {"accept": "accepted", "reject": "rejected", "accept_if": "accepted if"}
_BUILDS = ("any", *INSTRUMENT_BUILDS, " or ".join(INSTRUMENT_BUILDS))
ANY_SURFACE = "any"


def table_cells(paper: _Paper) -> tuple[Group, ...]:
    """Every value of a TABLE.json as kept: what holds for the whole table, then entry by entry."""
    whole = Group(
        "The whole table",
        (
            word("name", paper["name"], keyed=False),
            yes_or_no("limits hidden at the bench until the readings are in", _is(paper, "blind")),
        ),
        key=("whole",),
    )
    return (whole, *(_entry(number, one) for number, one in enumerate(paper["entries"], start=1)))


def _entry(number: int, entry: _Paper) -> Group:
    thickness, surface = entry["thickness_mm"], entry.get("surface") or ANY_SURFACE
    ends = (thickness["from"], thickness["from_included"], thickness["to"])
    return Group(
        f"Entry {number}",
        (*_key_cells(entry), *_rule_cells(entry), *_criteria("", entry["criteria"])),
        guide=entry["source"],
        about=" ".join(entry[name].strip() for name in ("alloy", "temper", "form")),
        key=(
            " ".join(same_name(entry[name]) for name in ("alloy", "temper", "form")),
            surface,
            " ".join(str(end) for end in (*ends, thickness["to_included"])),
        ),
    )


def _key_cells(entry: _Paper) -> Iterable[Cell]:
    thickness = entry["thickness_mm"]
    yield word("alloy", entry["alloy"])
    yield word("temper", entry["temper"])
    yield word("product form", entry["form"])
    for name, tighter in _NARROWS.items():
        yield end(f"thickness {name}, mm", thickness[name], tighter=tighter)
        is_in = _ENDS[thickness[f"{name}_included"]]
        itself = pick(f"thickness {name} is", is_in, _LOOSE_FIRST, tighter="up")
        yield replace(itself, is_end=True)
    surfaces = (ANY_SURFACE, *(one.value for one in Surface))
    yield pick("surface", entry.get("surface") or "", surfaces, unsaid=ANY_SURFACE)


def _rule_cells(entry: _Paper) -> Iterable[Cell]:
    retest = entry.get("retest") or {}
    decision = _DECISIONS[entry.get("decision") or "simple"]
    yield pick("decision", decision, _DECISIONS.values(), unsaid="simple comparison", tighter="up")
    # All further coupons must conform: more of them ask for more, none at all for the most.
    yield figure("retest, how many further", retest.get("further"), tighter="up", without="tighter")
    yield pick("retest, of", retest.get("of") or "", [one.value for one in RetestOf])
    yield yes_or_no("retest, by another person", _is(retest, "by_another"), tighter="up")
    yield figure(
        "coupon at least so many standard depths thick",
        entry.get("depths_needed"),
        tighter="up",
        unsaid=str(DEPTHS_NEEDED),
    )
    yield word("source", entry["source"], keyed=False)
    yield word("how the values came here", entry["obtained"], keyed=False)


def _criteria(before: str, criteria: Iterable[_Paper]) -> Iterable[Cell]:
    """The cells of several criteria; two of one name are told apart by a number."""
    seen: Counter[str] = Counter()
    for criterion in criteria:
        unit = criterion.get("scale") or criterion.get("unit")
        name = f"{before}{Quantity(criterion['quantity']).words} {unit}"
        seen[name] += 1
        if seen[name] > 1:
            name = f"{name} ({seen[name]})"
        yield from _criterion(name, criterion, is_inside=bool(before))


def _criterion(name: str, criterion: _Paper, *, is_inside: bool) -> Iterable[Cell]:
    if criterion.get("zones"):
        for number, zone in enumerate(criterion["zones"], start=1):
            yield from _zone(f"{name}, zone {number}", zone)
    else:
        yield figure(f"{name}, minimum", criterion.get("min"), tighter="up")
        yield figure(f"{name}, maximum", criterion.get("max"), tighter="down")
    statistic = _STATISTICS[criterion.get("statistic") or "each"]
    yield pick(
        f"{name}, what meets the limit",
        statistic,
        _STATISTICS.values(),
        unsaid="each reading" if is_inside else "",
    )
    yield figure(
        f"{name}, least number of readings",
        criterion.get("readings_min", 1),
        tighter="up",
        unsaid="1" if is_inside else "",
    )
    largest = criterion.get("range_max")
    yield figure(f"{name}, largest minus smallest at most", largest, tighter="down")
    rounding = _ROUNDINGS[criterion.get("rounding") or "rounding"]
    yield pick(f"{name}, rounding", rounding, _ROUNDINGS.values(), unsaid="rounded")
    yield figure(f"{name}, rounded to a step of", criterion.get("resolution"))
    yield from _measuring(name, criterion)
    for own, words in (("source", "source"), ("obtained", "how its values came here")):
        if criterion.get(own) is not None:
            yield word(f"{name}, {words}", criterion[own], keyed=False)


def _zone(name: str, zone: _Paper) -> Iterable[Cell]:
    for side, tighter in _NARROWS.items():
        yield end(f"{name}, {side}", zone.get(side), tighter=tighter)
    yield pick(f"{name}, a value in it is", _OUTCOMES[zone["outcome"]], _OUTCOMES.values())
    yield from _criteria(f"{name}, also ", zone.get("also") or ())


def _measuring(name: str, criterion: _Paper) -> Iterable[Cell]:
    """How it wants to be measured: asked for only where the table says anything of it."""
    builds = criterion.get("instruments")
    if builds:
        permitted = " or ".join(one for one in INSTRUMENT_BUILDS if one in builds)
        yield pick(f"{name}, instruments", permitted, _BUILDS, unsaid="any")
    if criterion.get("standards_apart") is not None:
        apart = criterion["standards_apart"]
        yield figure(f"{name}, standards at least apart", apart, tighter="up")
    if criterion.get("correction") is not None:
        yield word(f"{name}, correction table", criterion["correction"])
    for span, words in (
        ("possible", "a reading can only be"),
        ("usual", "a reading is usually"),
        ("rise", "ageing is expected to change it by"),
    ):
        if criterion.get(span) is not None:
            for side, tighter in _NARROWS.items():
                yield end(f"{name}, {words}, {side}", criterion[span][side], tighter=tighter)


def _is(paper: _Paper, name: str) -> bool:
    return bool(paper.get(name))
