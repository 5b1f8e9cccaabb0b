"""The trail: who did what, when, on which record; and whether all of it still holds."""

from collections.abc import Mapping
from datetime import datetime, time, timedelta, tzinfo
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Response

from app.audit.facts import moment_text
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.errors import Refusal
from app.loads.live.live_queries import broken_chains
from app.people.queries import act_words
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.queries.decisions import misstated
from app.release.rules.gates import address
from app.tracing.forms import day, place_in_list
from app.tracing.queries.dossier import people_by_id
from app.tracing.rules import kind_words, scanned
from app.trail.forms import AskedTrail, TrailQuery
from app.trail.queries import entries as trail
from app.trail.queries.entries import Asked, Entry, EntryLine
from app.trail.queries.heads import misfitting_heads
from app.trail.rules.writing import as_csv, column_words, content_words
from app.web.page import Page, Records, now

router = APIRouter()

CSV_MOST = 50_000
"""Entries in one downloaded file at most; more are asked for by days."""
_HEADER = (
    "Entry",
    "Time (UTC)",
    "User name",
    "Person",
    "Act",
    "Tag",
    "About",
    "Identity",
    "Note",
    "Stands out",
)


@router.get("/trail")
def show_trail(page: Page, records: Records, by: SignedIn, query: AskedTrail) -> Response:
    """Entries newest first, narrowed as asked; both days included."""
    typed, before = query.typed, place_in_list(query.before)
    problems, status, part = {}, 200, trail.Part([], None)
    with records.read() as session:
        try:
            asked = _asked(query, page.settings.zone)
            part = trail.entries(session, asked, before=before)
        except Refusal as refusal:
            problems, status = refusal.fields, refusal.status
        users = {name.user: name.full for name in people_by_id(session).values()}
    kept = urlencode({name: text for name, text in typed.items() if text.strip()})
    return page.show(
        "trail/trail.html",
        status=status,
        lines=[(line, *_words(line, users)) for line in part.lines],
        typed=typed,
        problems=problems,
        people=sorted((user, full) for user, full in users.items()),
        acts=_acts(),
        csv_url=f"/trail.csv?{kept}",
        next_url=None if part.onward is None else f"/trail?{kept}&before={part.onward}",
        may_review=may(by, Act.REVIEW_TRAIL),
    )


@router.get("/trail.csv")
def download_trail(page: Page, records: Records, by: SignedIn, query: AskedTrail) -> Response:
    """Every entry that the list would show, page after page, as one CSV file in UTF-8.

    Raises:
        Refusal: a day that is none, or more entries than one file takes.
    """
    asked = _asked(query, page.settings.zone)
    with records.read() as session:
        found = trail.every_entry(session, asked, most=CSV_MOST)
        users = {name.user: name.full for name in people_by_id(session).values()}
    if len(found) > CSV_MOST:
        raise Refusal(
            f"There are more than {CSV_MOST} such entries, which is more than one file takes. "
            "Narrow them by days and download them in parts."
        )
    text = as_csv(
        _HEADER,
        (
            (
                line.number,
                moment_text(line.at),
                line.by,
                users.get(line.by, ""),
                act_words(line.tag),
                line.tag,
                kind_words(line.about_kind),
                line.about_code,
                line.note,
                "; ".join(line.stands_out),
            )
            for line in found
        ),
    )
    return Response(
        text.encode(),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="trail.csv"'},
    )


def _acts() -> list[tuple[str, str]]:
    """Every act in words, after its subject's own choice of all of them."""
    subjects: dict[str, list[Tag]] = {}
    for tag in Tag:
        subjects.setdefault(tag.split(":", 1)[0], []).append(tag)
    choices = []
    for subject, tags in subjects.items():
        choices.append((f"{subject}:", f"{subject}: everything"))
        choices += [(tag.value, f"{subject}: {act_words(tag.value)}") for tag in tags]
    return choices


def _words(line: EntryLine, users: Mapping[str, str]) -> tuple[str, str, str]:
    """Who, what, and the page of what it was about."""
    return (
        users.get(line.by, line.by),
        act_words(line.tag),
        address(line.about_kind, line.about_code),
    )


def _asked(query: TrailQuery, zone: tzinfo) -> Asked:
    """What the list is narrowed to.

    Raises:
        Refusal: a day that is none; the sentence is beside its field.
    """
    first, last = day(query.typed, "since"), day(query.typed, "until")
    tags = None
    if query.act.endswith(":"):
        tags = tuple(tag.value for tag in Tag if tag.startswith(query.act))
    elif query.act:
        tags = (query.act,)
    return Asked(
        by=query.by.lower() or None,
        tags=tags,
        identity=scanned(query.identity) or None,
        since=None if first is None else datetime.combine(first, time(), tzinfo=zone),
        until=None
        if last is None
        else datetime.combine(last + timedelta(days=1), time(), tzinfo=zone),
        text=query.text or None,
        exceptions=bool(query.exceptions),
    )


@router.get("/trail/check")
def show_check(page: Page, records: Records, by: SignedIn) -> Response:
    """Recompute the trail now, compare every record with it, and say what was found."""
    started = now()
    with records.read() as session:
        report = verify_trail(session)
        for problem in (
            *misstated(session),
            *broken_chains(session),
            *misfitting_heads(session),
        ):
            report.found(problem)
    seconds = (now() - started).total_seconds()
    return page.show(
        "trail/check.html", report=report, seconds=f"{seconds:.1f}", checked_at=started
    )


@router.get("/trail/{number:int}")
def show_entry(page: Page, records: Records, by: SignedIn, number: int) -> Response:
    """One entry with the rows it bound, what they were before, and the hashes that chain it."""
    with records.read() as session:
        entry = trail.entry(session, number)
        hidden = trail.hidden_columns(session, entry.rows, by)
        users = {name.user: name.full for name in people_by_id(session).values()}
    person, act, href = _words(entry.line, users)
    return page.show(
        "trail/entry.html",
        entry=entry,
        person=person,
        act=act,
        about=f"{kind_words(entry.line.about_kind)} {entry.line.about_code}",
        href=href,
        rows=[_row(entry, row, hidden) for row in entry.rows],
    )


def _row(
    entry: Entry, row: Mapping[str, Any], hidden: Mapping[tuple[str, str], str]
) -> dict[str, Any]:
    """A bound row for its section: its name, its columns, and what changed since it was written."""
    before = entry.before.get((row["table"], row["key"]))
    refers = trail.references(row["table"])
    pairs: list[tuple[str, ...]] = []
    changed = []
    for name, content in row["columns"].items():
        thing = entry.things.get((refers.get(name, ""), str(content)))
        if hidden.get((row["table"], row["key"])) == name:
            pairs.append((column_words(name), "shown once a second person has keyed the same"))
        elif thing is not None:
            pairs.append((column_words(name), thing[0], address(thing[1], thing[2])))
        else:
            pairs.append((column_words(name), content_words(content)))
        if before is not None and before.columns.get(name) != content:
            old = before.columns.get(name) if name in before.columns else None
            changed.append((column_words(name), content_words(old), content_words(content)))
    return {
        "name": f"{kind_words(row['table'])} {row['key']}",
        "pairs": pairs,
        "changed": changed,
        "before": None if before is None else before.entry,
    }
