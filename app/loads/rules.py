"""Where a load stands, what its bags show, and what a plan lacks. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from app.judging.verdict import Finding, Outcome

RULES_VERSION = "2"
"""Goes up whenever a furnace record could be judged differently from before."""
SHOP_RULES = "the cycle's shop rules"


class Standing(StrEnum):
    """How far a load has come; the value is what the page says."""

    PLANNED = "planned"
    CHECKED = "bag checked"
    IN_FURNACE = "in the furnace"
    OUT = "out of the furnace"
    RECORDED = "record in"
    UNWRAPPED = "unwrapped"
    CANCELLED = "cancelled"


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """What has been done with a load: which steps, and for which of its panels (by key).

    ``checked`` are the panels whose latest leak check conforms.
    """

    panels: frozenset[int]
    checked: frozenset[int]
    unwrapped: frozenset[int]
    started: bool
    ended: bool
    recorded: bool
    cancelled: bool


def standing(done: Progress) -> str:
    """How far a load has come.

    A load is unwrapped when every panel is and its record is in. A record counts even where nobody
    entered start and end.
    """
    if done.cancelled:
        return Standing.CANCELLED.value
    if done.recorded:
        whole = done.panels <= done.unwrapped
        return (Standing.UNWRAPPED if whole else Standing.RECORDED).value
    if done.started:
        return (Standing.OUT if done.ended else Standing.IN_FURNACE).value
    if done.panels and done.panels <= done.checked:
        return Standing.CHECKED.value
    return Standing.PLANNED.value


def soak_time(cycle_paper: Mapping[str, Any]) -> timedelta:
    """The shortest soaks of all stages together: no run of the cycle is over sooner."""
    return timedelta(seconds=sum(float(stage["soak_min_s"]) for stage in cycle_paper["stages"]))


def judge_length(start: datetime, end: datetime, *, soaks: timedelta) -> Finding:
    """Whether the declared length leaves room for the cycle's shortest soaks; equal does."""
    length, least = ((span.total_seconds() / 3600) for span in (end - start, soaks))
    fits = end - start >= soaks
    return Finding(
        "plan.length",
        Outcome.CONFORMS if fits else Outcome.DOES_NOT_CONFORM,
        f"The load is declared to take {length:.4g} h; the cycle's soaks alone take {least:.4g} h."
        + ("" if fits else " Give the time from door closed to taken out, heating included."),
        value=f"{length:.6g}",
        limit=f"{least:.6g}",
        unit="h",
        source="the cycle",
    )


def judge_count(panel: str, thing: str, *, found: int, least: int | None) -> Finding:
    """Whether a panel has as many coupons or load sensors as the cycle's shop rules ask."""
    code = f"plan.{thing.replace(' ', '_')}s"
    if least is None:
        return Finding(
            code,
            Outcome.NOTE,
            f"Panel {panel} has {found} {thing}{'' if found == 1 else 's'}; the cycle's shop rules "
            "ask for no number.",
        )
    enough = found >= least
    return Finding(
        code,
        Outcome.CONFORMS if enough else Outcome.DOES_NOT_CONFORM,
        f"Panel {panel} has {found} {thing}{'' if found == 1 else 's'}; at least {least} "
        f"{'is' if least == 1 else 'are'} asked.",
        value=str(found),
        limit=str(least),
        source=SHOP_RULES,
    )


def judge_treatments(panel: str, *, number: int, most: int) -> Finding:
    """Whether this thermal treatment of the panel, counting from 1, is within those permitted."""
    within = number <= most
    return Finding(
        "plan.treatments",
        Outcome.CONFORMS if within else Outcome.DOES_NOT_CONFORM,
        f"This is thermal treatment {number} of panel {panel}; at most {most} "
        f"{'is' if most == 1 else 'are'} permitted.",
        value=str(number),
        limit=str(most),
        source="the panel's drawing",
    )


def judge_lots(
    coupon: str, panel: str, *, coupon_lot: str, panel_lot: str, accepted: str | None = None
) -> Finding:
    """Whether a coupon is of the same material lot as the panel it rides on.

    One of another lot conforms only by a signed exception; ``accepted`` says whose and why.
    Source: the judging rules, 5.
    """
    same = coupon_lot == panel_lot
    if accepted is not None and not same:
        return Finding(
            "plan.coupon_lot",
            Outcome.CONFORMS,
            f"Coupon {coupon} is of lot {coupon_lot}, panel {panel} of lot {panel_lot}; {accepted}",
            value=coupon_lot,
            limit=panel_lot,
        )
    return Finding(
        "plan.coupon_lot",
        Outcome.CONFORMS if same else Outcome.DOES_NOT_CONFORM,
        f"Coupon {coupon} and panel {panel} are both of lot {panel_lot}."
        if same
        else f"Coupon {coupon} is of lot {coupon_lot}, panel {panel} of lot {panel_lot}; a coupon "
        "speaks only for its own lot.",
        value=coupon_lot,
        limit=panel_lot,
    )


def accepted_words(name: str, reason: str) -> str:
    """A signed lot exception as a sentence's end: who accepted the other lot, and why."""
    return f"accepted by {name}: {reason.rstrip('.')}."


_SUPPLIERS = (
    ("plan.held", "a supervisor lifts the hold"),
    ("plan.coupon_lot", "a supervisor can accept it with a signed exception"),
    ("plan.cycle", "a supervisor who did not write it can verify a revision"),
    ("plan.acceptance_table", "a supervisor who did not write it can verify a revision"),
    ("plan.entry", "an engineer can write a table revision with such an entry"),
    ("plan.coupon_entry", "an engineer can write a table revision with such an entry"),
    ("plan.decided", "a supervisor decides whether the panel may be aged again"),
    ("plan", "whoever plans the load"),
    ("furnace.zone", "whoever plans the load, with the panel's place in the zone"),
    ("furnace.class", "an engineer, with a furnace or cycle that fits"),
    ("furnace", "an engineer enters the paper and a second person reviews it"),
    ("sensors", "an engineer enters the certificate and a second person reviews it"),
    ("gauge", "an engineer enters the certificate and a second person reviews it"),
    ("bag", "an inspector checks the bag"),
)


def supplier(finding: Finding) -> str:
    """Who can supply what a finding lacks, as a sentence's end."""
    return next(
        (who for code, who in _SUPPLIERS if finding.code.startswith(code)), "whoever plans the load"
    )


def blocking(findings: Sequence[Finding]) -> list[Finding]:
    """The findings that stand against a plan: all that neither conform nor are mere notes."""
    fine = (Outcome.CONFORMS, Outcome.NOTE)
    return [finding for finding in findings if finding.outcome not in fine]


def findings_paper(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Findings as they are kept beside a decision on a load, with their working."""
    return [
        {**asdict(finding), "outcome": finding.outcome.value, "working": list(finding.working)}
        for finding in findings
    ]


def findings_of(paper: Sequence[Mapping[str, Any]]) -> list[Finding]:
    """Findings read back from :func:`findings_paper`."""
    return [
        Finding(
            **{
                **one,
                "outcome": Outcome(one["outcome"]),
                "working": tuple(one["working"]),
            }
        )
        for one in paper
    ]
