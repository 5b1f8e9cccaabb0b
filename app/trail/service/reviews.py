"""A person reads a stretch of the trail and answers for what stands out in it, signed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, Refusal
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign
from app.trail.queries.reviews import Stretch, last_reviewed, left_open, stretch
from app.trail.records import TrailReview, TrailReviewLine
from app.trail.rules.exceptions import Outstanding

NO_ACTION = "seen, no action"
SHORTEST_REMARK = 5


@dataclass(frozen=True, slots=True)
class Answer:
    """What the reviewer says of one exception: a remark, or deliberately that nothing follows."""

    remark: str = ""
    no_action: bool = False


def field_of(each: Outstanding, part: str) -> str:
    """The form field of an exception's answer; its sentence stands beside it."""
    return f"{part}-{each.entry.number}-{each.kind.name.lower()}"


def review_trail(
    database: Database,
    *,
    through: int,
    answers: Mapping[tuple[int, str], Answer],
    remark: str,
    password: str,
    by: Actor,
    at: datetime,
) -> int:
    """Sign that the trail was read up to entry ``through``; hands back the review's number.

    ``answers`` go by entry and kind. The reviewer's own acts stay open for another reviewer.

    Raises:
        NotAllowed: neither supervisor nor auditor.
        Refusal: nothing to review, an exception without an answer (each beside its field), or a
            password that is not theirs.
        Conflict: somebody reviewed the same stretch meanwhile, or it would end elsewhere.
    """
    require(by, Act.REVIEW_TRAIL)
    with database.read() as session:
        covered = stretch(session, by, through=through)
    said = _answered(covered, answers, through)
    proof = re_authenticate(database, by, password=password, at=at)
    lines = [(*place, text) for place, text in said.items()]
    lines += [(*each.place, "") for each in covered.left]
    content = {
        "first": covered.first,
        "last": covered.last,
        "last_entry_hash": covered.head_hash,
        "lines": [[number, kind, text] for number, kind, text in lines],
        "remark": remark.strip(),
    }
    with database.write() as session:
        if last_reviewed(session) + 1 != covered.first or _answered_meanwhile(
            set(left_open(session)), covered
        ):
            raise Conflict(
                "Somebody reviewed the trail meanwhile. Load the page again: it shows what is "
                "left; nothing was recorded."
            )
        signature = sign(
            session,
            proof,
            meaning=Meaning.REVIEWED_TRAIL,
            content_sha256=paper_sha256(content),
            at=at,
        )
        review = TrailReview(
            first_number=covered.first,
            last_number=covered.last,
            exceptions=len(lines),
            remark=remark.strip(),
            reviewed_by_id=by.id,
            reviewed_at=at,
            signature_id=signature.id,
        )
        session.add(review)
        session.flush()
        rows = [
            TrailReviewLine(review_id=review.id, entry_number=number, kind=kind, remark=text)
            for number, kind, text in lines
        ]
        session.add_all(rows)
        left = f", {len(covered.left)} left for another reviewer" if covered.left else ""
        append(
            session,
            Tag.TRAIL_REVIEWED,
            by=by,
            at=at,
            about=("trail_review", str(review.id)),
            rows=[signature, review, *rows],
            note=f"{_range(covered)}: {len(said)} exceptions answered{left}",
        )
        return review.id


def _range(covered: Stretch) -> str:
    if covered.last < covered.first:
        return "what earlier reviews left"
    return f"entries {covered.first} to {covered.last}"


def _answered_meanwhile(still_open: set[tuple[int, str]], covered: Stretch) -> bool:
    earlier = {each.place for each in covered.to_answer if each.entry.number < covered.first}
    return not earlier <= still_open


def _answered(
    covered: Stretch, answers: Mapping[tuple[int, str], Answer], through: int
) -> dict[tuple[int, str], str]:
    """What is kept of each answer.

    Raises:
        Refusal: nothing to review, or answers that are missing.
        Conflict: the stretch does not end where the reviewer saw it end.
    """
    if covered.last < covered.first and not covered.to_answer:
        raise Refusal("Every entry of the trail has been reviewed already; nothing was recorded.")
    if covered.last != through:
        raise Conflict(
            f"The review would end at entry {covered.last}, not at {through}. Load the page again "
            "and look at what it shows; nothing was recorded."
        )
    kept: dict[tuple[int, str], str] = {}
    problems: dict[str, str] = {}
    for each in covered.to_answer:
        answer = answers.get(each.place, Answer())
        text = answer.remark.strip()
        name = f"Entry {each.entry.number} ({each.kind.value})"
        if answer.no_action and text:
            problems[field_of(each, "remark")] = (
                f"{name}: either write what follows, or say that nothing does; not both."
            )
        elif not answer.no_action and len(text) < SHORTEST_REMARK:
            problems[field_of(each, "remark")] = (
                f"{name}: write what follows from it, in at least {SHORTEST_REMARK} characters, "
                f"or choose '{NO_ACTION}'."
            )
        kept[each.place] = NO_ACTION if answer.no_action else text
    if problems:
        raise Refusal(
            f"{len(problems)} exceptions have no answer yet; nothing was recorded.", fields=problems
        )
    return kept
