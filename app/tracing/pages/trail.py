"""The trail: who did what, when, on which record; and whether all of it still holds."""

from datetime import datetime, time, timedelta, tzinfo
from urllib.parse import urlencode

from fastapi import APIRouter, Response

from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.errors import Refusal
from app.loads.live.live_queries import broken_chains
from app.people.queries import act_words
from app.people.signed_in import SignedIn
from app.release.queries.decisions import misstated
from app.release.rules.gates import address
from app.tracing.forms import AskedTrail, day, place_in_list
from app.tracing.queries import trail
from app.tracing.queries.dossier import people_by_id
from app.tracing.queries.trail import Asked, EntryLine
from app.tracing.rules import kind_words, scanned
from app.web.page import Page, Records, now

router = APIRouter()


@router.get("/trail")
def show_trail(page: Page, records: Records, by: SignedIn, query: AskedTrail) -> Response:
    """Entries newest first, narrowed by person, act, identity and days; both days included."""
    typed, before = query.typed, place_in_list(query.before)
    zone, problems, status = page.settings.zone, {}, 200
    asked = Asked()
    try:
        asked = _asked(typed, zone)
    except Refusal as refusal:
        problems, status = refusal.fields, refusal.status
    with records.read() as session:
        found = [] if problems else trail.entries(session, asked, before=before)
        names = people_by_id(session)
    users = {name.user: name.full for name in names.values()}
    shown = found[: trail.ENTRIES_SHOWN]
    more = len(found) > len(shown)
    kept = urlencode({name: text for name, text in typed.items() if text.strip()})
    return page.show(
        "tracing/trail.html",
        status=status,
        lines=[(line, *_words(line, users)) for line in shown],
        typed=typed,
        problems=problems,
        people=sorted((user, full) for user, full in users.items()),
        acts=[(tag.value, act_words(tag.value)) for tag in Tag],
        next_url=f"/trail?{kept}&before={shown[-1].number}" if more else None,
    )


def _words(line: EntryLine, users: dict[str, str]) -> tuple[str, str, str]:
    """Who, what, and the page of what it was about."""
    return (
        users.get(line.by, line.by),
        act_words(line.tag),
        address(line.about_kind, line.about_code),
    )


def _asked(typed: dict[str, str], zone: tzinfo) -> Asked:
    """What the list is narrowed to.

    Raises:
        Refusal: a day that is none; the sentence is beside its field.
    """
    first, last = day(typed, "since"), day(typed, "until")
    return Asked(
        by=typed["by"].strip().lower() or None,
        tag=typed["act"] or None,
        identity=scanned(typed["identity"]) or None,
        since=None if first is None else datetime.combine(first, time(), tzinfo=zone),
        until=None
        if last is None
        else datetime.combine(last + timedelta(days=1), time(), tzinfo=zone),
    )


@router.get("/trail/check")
def show_check(page: Page, records: Records, by: SignedIn) -> Response:
    """Recompute the trail now, compare every record with it, and say what was found."""
    started = now()
    with records.read() as session:
        report = verify_trail(session)
        for problem in (*misstated(session), *broken_chains(session)):
            report.found(problem)
    seconds = (now() - started).total_seconds()
    return page.show(
        "tracing/check.html", report=report, seconds=f"{seconds:.1f}", checked_at=started
    )


@router.get("/trail/{number:int}")
def show_entry(page: Page, records: Records, by: SignedIn, number: int) -> Response:
    """One entry with the rows it bound and the hashes that chain it."""
    with records.read() as session:
        entry = trail.entry(session, number)
        users = {name.user: name.full for name in people_by_id(session).values()}
    person, act, href = _words(entry.line, users)
    return page.show(
        "tracing/entry.html",
        entry=entry,
        person=person,
        act=act,
        about=f"{kind_words(entry.line.about_kind)} {entry.line.about_code}",
        href=href,
        rows=[
            (f"{row['table'].replace('_', ' ')} {row['key']}", _columns(row["columns"]))
            for row in entry.rows
        ],
    )


def _columns(columns: dict[str, object]) -> list[tuple[str, str]]:
    """Columns of a row as pairs; a digest is shown as such."""
    shown = []
    for name, content in columns.items():
        words = "nothing" if content is None else str(content)
        if isinstance(content, dict) and "sha256" in content:
            words = f"SHA-256 {content['sha256']}"
        shown.append((name.replace("_", " "), words))
    return shown
