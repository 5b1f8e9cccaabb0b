"""Requirements, reports and equipment that wait for somebody."""

from datetime import UTC, datetime, time
from urllib.parse import quote

from app.equipment.queries import BoardLine
from app.equipment.rules import DueState
from app.people.rights import Act, may
from app.requirements.queries import Revision
from app.requirements.service import KINDS
from app.tracing.queries.today.desk import MOST_ALONE, Asking, Waiting, few
from app.tracing.rules import kind_words


def to_key(asking: Asking) -> list[Waiting]:
    """Drafts whose values this person may key a second time; of their own ones what differs."""
    tasks = []
    for one in asking.drafts:
        if not one.wants_keying:
            continue
        sentence, href = _keying_words(asking, one), f"{_place(one)}/keying?{_revision(one)}"
        if asking.by.is_person(one.written_by_id):
            if not one.differences or not may(asking.by, KINDS[one.kind].writes):
                continue
            sentence, href = _differing_words(one), f"{_place(one)}?{_revision(one)}#keying"
        tasks.append(Waiting(one.code, sentence, href, one.written_at))
    return few(tasks, "Second keying", "drafts wait for their second keying.", "/shop")


def to_verify(asking: Asking) -> list[Waiting]:
    """Drafts this person may verify: keyed twice alike where they are keyed, and not their own."""
    if not may(asking.by, Act.VERIFY_REQUIREMENT):
        return []
    tasks = [
        Waiting(
            name=one.code,
            sentence=f"{_named(one)} by {asking.names[one.written_by_id]} waits for a second "
            "person, to compare every value with its source.",
            href=f"{_place(one)}?{_revision(one)}",
            since=one.written_at,
        )
        for one in asking.drafts
        if not one.wants_keying and not asking.by.is_person(one.written_by_id)
    ]
    return few(tasks, "Drafts", "drafts wait to be verified.", "/shop")


def _keying_words(asking: Asking, one: Revision) -> str:
    if one.differences:
        return f"{_named(one)}: the two entries differ. Key again, from the source, what differs."
    writer = asking.names[one.written_by_id]
    return f"{_named(one)} by {writer}: key its values a second time, from the source."


def _differing_words(one: Revision) -> str:
    return (
        f"{_named(one)}: the second entry differs from yours. Where yours is wrong, write the "
        "revision again."
    )


def _named(one: Revision) -> str:
    return f"{one.kind.value.capitalize()} {one.code} revision {one.revision}"


def _place(one: Revision) -> str:
    return f"{KINDS[one.kind].place}/{quote(one.code, safe='')}"


def _revision(one: Revision) -> str:
    return f"revision={quote(one.revision, safe='')}"


def reviews(asking: Asking) -> list[Waiting]:
    """Reports that wait for a second person, and were not entered by this one."""
    if not may(asking.by, Act.REVIEW_REPORT):
        return []
    tasks = [
        Waiting(
            name=one.about[1],
            sentence=f"The {one.words} waits for a second person.",
            href=one.href,
            since=one.entered_at,
        )
        for one in asking.reports
        if not asking.by.is_person(one.entered_by_id)
    ]
    return few(tasks, "Reviews", "reports wait for a second person.", "/reviews")


def out_of_use(asking: Asking) -> list[Waiting]:
    """Testers in quarantine."""
    at = asking.now.astimezone(asking.zone)
    return [
        _due_task(line, line.code, _due_words(line), line.href, at) for line in asking.out_of_use
    ]


def equipment_due(asking: Asking) -> list[Waiting]:
    """What the due board lists, save what only waits for review; many sensors in one line."""
    at = asking.now.astimezone(asking.zone)
    lines = [line for line in asking.due if line.due.state is not DueState.WAITING]
    sensors = [line for line in lines if line.kind == "sensor"]
    if len(sensors) > MOST_ALONE:
        lines = [line for line in lines if line.kind != "sensor"]
    tasks = [_due_task(line, line.code, _due_words(line), line.href, at) for line in lines]
    if len(sensors) > MOST_ALONE:
        words = f"{len(sensors)} sensors need a certificate, now or soon."
        tasks.append(_due_task(sensors[0], "Sensors", words, "/equipment/due", at))
    return tasks


def _due_words(line: BoardLine) -> str:
    return f"The {line.paper} of {kind_words(line.kind)} {line.code}: {line.due.words}."


def _due_task(line: BoardLine, name: str, sentence: str, href: str, at: datetime) -> Waiting:
    last = line.due.due_on or at.date()
    return Waiting(
        name=name,
        sentence=sentence,
        href=href,
        since=datetime.combine(last, time(), tzinfo=UTC),
        due=line.due.due_on,
        urgent=line.due.state is not DueState.DUE_SOON,
    )
