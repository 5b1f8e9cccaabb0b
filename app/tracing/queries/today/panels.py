"""Panels that wait for a decision, nonconformances and what comes after, and upstream holds."""

from datetime import UTC, date, datetime, time

from app.panels.records import HoldOn
from app.people.rights import Act, lacks, may
from app.release.queries.actions import ActionLine, actions_without_effect
from app.release.queries.nonconformances import NonconformanceLine, Weighed
from app.release.queries.scrap import ScrapLine, scrap_not_yet_unusable
from app.release.queries.upstream import upstream_lines
from app.release.rules.dispositions import FALLEN, Capacity, missing
from app.release.rules.gates import address
from app.release.rules.standing import Standing
from app.release.service import Case, why_not_lift, why_not_release
from app.release.service.proposals import ANSWERS
from app.tracing.queries.today.desk import Asking, Waiting, brief, few

_PROPOSE = Act.PROPOSE_DISPOSITION


def to_release(asking: Asking) -> tuple[list[Waiting], list[str]]:
    """Panels whose every gate conforms: those the person may decide on, and what others decide."""
    ready = [case for case in asking.cases if case.standing is Standing.READY]
    if ready and lacks(asking.by, Act.RELEASE_PANEL):
        codes = ", ".join(case.facts.code for case in ready)
        verb = "is" if len(ready) == 1 else "are"
        return [], [f"{codes} {verb} ready to decide, by an inspector authorised for release."]
    tasks, asides = [], []
    for case in ready:
        if why_not_release(case, asking.by) is None:
            tasks.append(_to_decide(case))
        else:
            asides.append(
                f"{case.facts.code} is ready to decide, by another inspector: you had a hand in "
                "its readings."
            )
    words = "panels are ready to decide, by another inspector: you had a hand in their readings."
    return tasks, brief(asides, words)


def _to_decide(case: Case) -> Waiting:
    facts = case.facts
    return Waiting(
        name=facts.code,
        sentence="Every gate conforms: read the evidence and decide.",
        href=f"{address('panel', facts.code)}/decision",
        since=facts.round_loads[-1].starts_at,
        standing=case.standing.value,
    )


def held(asking: Asking) -> tuple[list[Waiting], list[str]]:
    """Held panels the person may dispose of, and those that wait for somebody else.

    One with an open nonconformance waits for what that waits for, which :func:`departures` tells.
    """
    opened = {line.panel_id: line for line in asking.nonconformances}
    tasks, asides = [], []
    for case in asking.cases:
        if case.standing is not Standing.HELD:
            continue
        code, line = case.facts.code, opened.get(case.facts.id)
        if line is not None:
            if not _is_asked(asking, line):
                asides.append(f"{code} is held: {line.facts.code} waits for {line.waits_for}.")
        elif lacks(asking.by, Act.LIFT_HOLD):
            asides.append(f"{code} is held, for a supervisor authorised for dispositions.")
        elif why_not_lift(case, asking.by) is None:
            tasks.append(_to_dispose(case))
        else:
            asides.append(f"{code} is held, for another supervisor: you recorded its readings.")
    return tasks, brief(asides, "held panels wait for others: see the nonconformances.")


def _to_dispose(case: Case) -> Waiting:
    facts = case.facts
    holds = facts.open_holds
    why = [gate.title for gate in case.gates if gate.outcome.value != "conforms"]
    said = f"On hold: {holds[0].reason}" if holds else f"Held by: {', '.join(why)}"
    return Waiting(
        name=facts.code,
        sentence=f"{said.rstrip('.')}. Find that nothing departs, or open a nonconformance.",
        href=f"{address('panel', facts.code)}/decision",
        since=holds[0].placed_at if holds else facts.round_loads[-1].starts_at,
        standing=case.standing.value,
    )


def departures(asking: Asking) -> list[Waiting]:
    """Open nonconformances that wait for something this person can give."""
    tasks = [
        Waiting(
            name=line.facts.code,
            sentence=f"Panel {line.panel} waits for {line.waits_for}.",
            href=address("nonconformance", line.facts.code),
            since=line.facts.opened_at,
        )
        for line in asking.nonconformances
        if _is_asked(asking, line)
    ]
    words = "open nonconformances wait for a proposal, an answer or a decision of yours."
    return few(tasks, "Nonconformances", words, "/nonconformances")


def _is_asked(asking: Asking, line: NonconformanceLine) -> bool:
    """Whether the person can do what the nonconformance waits for."""
    by, weighed = asking.by, line.weighed
    if weighed is None:
        return False
    if not _is_standing(weighed):
        return may(by, _PROPOSE)
    if not weighed.in_the_way:
        return _carries_out(asking, line)
    answered = {one.answered_by_id for one in weighed.last.answers} if weighed.last else set()
    if by.is_among(answered | line.hands):
        return False
    return any(may(by, ANSWERS[capacity]) for capacity in _wanted(weighed))


def _wanted(weighed: Weighed) -> tuple[Capacity, ...]:
    last = weighed.last
    return missing(last, customer_asked=weighed.customer_asked) if last is not None else ()


def _is_standing(weighed: Weighed) -> bool:
    """Whether the last proposal only wants answers, or none any more."""
    last = weighed.last
    if last is None or last.is_refused or FALLEN in weighed.in_the_way:
        return False
    return len(weighed.in_the_way) <= len(_wanted(weighed))


def _carries_out(asking: Asking, line: NonconformanceLine) -> bool:
    """Whether this supervisor can carry out what is approved; a recall is closed first."""
    if not may(asking.by, Act.LIFT_HOLD):
        return False
    case = next((one for one in asking.cases if one.facts.id == line.panel_id), None)
    return case is not None and why_not_lift(case, asking.by) is None


def actions(asking: Asking) -> list[Waiting]:
    """Overdue corrective actions to be checked, and those that did not help."""
    tasks = [
        _overdue(one, f"{one.owner}'s corrective action is overdue: check what it achieved.")
        for one in asking.overdue
        if not asking.by.is_person(one.owner_id)
    ]
    tasks += [
        Waiting(
            name=one.nonconformance,
            sentence="Its corrective action did not help: find the cause and enter another action.",
            href=_action(one),
            since=one.checked_at,
        )
        for one in actions_without_effect(asking.session)
    ]
    words = "corrective actions are overdue or did not help."
    return few(tasks, "Actions", words, "/nonconformances")


def own_actions(asking: Asking) -> list[Waiting]:
    """The person's own corrective actions whose day has passed, unchecked."""
    return [
        _overdue(one, "Your corrective action is overdue: do it, and have it checked by another.")
        for one in asking.overdue
        if asking.by.is_person(one.owner_id)
    ]


def _overdue(one: ActionLine, sentence: str) -> Waiting:
    return Waiting(
        name=one.nonconformance,
        sentence=sentence,
        href=_action(one),
        since=_start_of(one.due_on),
        urgent=True,
        due=one.due_on,
    )


def _start_of(day: date) -> datetime:
    return datetime.combine(day, time(), tzinfo=UTC)


def _action(one: ActionLine) -> str:
    return f"{address('nonconformance', one.nonconformance)}#action-{one.id}"


def scrap(asking: Asking) -> list[Waiting]:
    """Scrapped panels that this person may make unusable, or witness to be so."""
    tasks = []
    for line in scrap_not_yet_unusable(asking.session):
        sentence = _scrap_words(asking, line)
        if sentence is not None:
            href = f"{address('panel', line.panel)}/scrap"
            tasks.append(Waiting(line.panel, sentence, href, line.done_at, urgent=True))
    return few(tasks, "Scrap", "scrapped panels are not certainly unusable.", "/nonconformances")


def _scrap_words(asking: Asking, line: ScrapLine) -> str | None:
    by = asking.by
    if line.record_id is None:
        if may(by, Act.MAKE_SCRAP_UNUSABLE):
            return "Scrapped: mark it for good and make it unusable."
        return None
    if may(by, Act.WITNESS_SCRAP) and not by.is_person(line.done_by_id):
        return f"Scrapped and made unusable by {line.done_by}: see it and sign as the witness."
    return None


def upstream_holds(asking: Asking) -> list[Waiting]:
    """Open holds on what panels rest on; those on the person themselves are another's."""
    if not may(asking.by, Act.LIFT_HOLD):
        return []
    own = {one.username for one in asking.everybody if asking.by.is_person(one.id)}
    tasks = [
        Waiting(
            name=f"Hold {line.id}",
            sentence=_hold_words(line.name, line.still_held),
            href=f"/holds/{line.id}",
            since=line.placed_at,
        )
        for line in upstream_lines(asking.session, open_ones=True)
        if not (line.kind is HoldOn.PERSON and line.code in own)
    ]
    return few(tasks, "Holds", "things that panels rest on are on hold.", "/holds")


def _hold_words(name: str, still_held: int) -> str:
    if not still_held:
        return f"On {name}: no panel is held by it any more. Lift it, with what was found."
    panels = f"{still_held} panel{' is' if still_held == 1 else 's are'}"
    return f"On {name}: {panels} held by it. Lift it with what was found; then decide on each."
