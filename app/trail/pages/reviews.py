"""Reviews of the trail: the next one to sign, and those that were signed."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.people.queries import names
from app.people.records import Meaning
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.rules.gates import address
from app.tracing.forms import place_in_list
from app.tracing.queries.dossier import people_by_id
from app.trail.forms import ReviewForm
from app.trail.queries import reviews
from app.trail.rules.exceptions import Outstanding
from app.trail.service import Answer, review_trail
from app.trail.service.reviews import NO_ACTION, field_of
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()


@router.get("/trail/reviews")
def show_reviews(page: Page, records: Records, by: SignedIn) -> Response:
    """Reviews signed so far, newest first."""
    with records.read() as session:
        return page.show(
            "trail/reviews.html",
            reviews=reviews.reviews(session),
            names=names(session),
            reviewed=reviews.last_reviewed(session),
            end=reviews.last_entry(session),
            left=len(reviews.left_open(session)),
            may_review=may(by, Act.REVIEW_TRAIL),
        )


@router.get("/trail/reviews/{key:int}")
def show_review(page: Page, records: Records, by: SignedIn, key: int) -> Response:
    """One review with what it says of each exception."""
    with records.read() as session:
        review, lines = reviews.review(session, key)
        return page.show(
            "trail/review_signed.html",
            review=review,
            lines=lines,
            open=set(reviews.left_open(session)),
            name=names(session)[review.reviewed_by_id],
            meaning=Meaning.REVIEWED_TRAIL.value,
        )


@router.get("/trail/review")
def show_next_review(
    page: Page, records: Records, by: SignedIn, through: Annotated[str, Query()] = ""
) -> Response:
    """Everything the next review has to answer, as far as the entry chosen."""
    return _page(page, records, by, place_in_list(through))


@router.post("/trail/review")
def submit_review(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Sign the review as it was shown; what was typed stays typed where it cannot be."""
    through = place_in_list(typed.get("through", ""))
    try:
        form = parse(ReviewForm, typed)
        with records.read() as session:
            covered = reviews.stretch(session, by, through=form.through)
        key = review_trail(
            records,
            through=form.through,
            answers={each.place: _answer(typed, each) for each in covered.to_answer},
            remark=form.remark,
            password=form.password,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _page(page, records, by, through, typed=typed, refusal=refusal)
    return page.see_other("/trail/reviews", str(key), notice="The review is signed.")


def _answer(typed: Typed, each: Outstanding) -> Answer:
    return Answer(
        typed.get(field_of(each, "remark"), ""), bool(typed.get(field_of(each, "seen"), ""))
    )


def _page(
    page: PageMaker,
    records: Records,
    by: Actor,
    through: int | None,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        covered = reviews.stretch(session, by, through=through)
        users = {name.user: name.full for name in people_by_id(session).values()}
    return page.show(
        "trail/review.html",
        covered=covered,
        lines=[_line(each, users) for each in covered.to_answer],
        left=[_line(each, users) for each in covered.left],
        nothing=covered.last < covered.first and not covered.to_answer,
        no_action=NO_ACTION,
        may_review=may(by, Act.REVIEW_TRAIL),
        meaning=Meaning.REVIEWED_TRAIL.value,
        **kept({**(typed or {}), "password": ""}, refusal),
    )


def _line(each: Outstanding, users: dict[str, str]) -> dict[str, Any]:
    return {
        "each": each,
        "who": users.get(each.entry.by, each.entry.by),
        "href": address(each.entry.about_kind, each.entry.about_code),
        "remark": field_of(each, "remark"),
        "seen": field_of(each, "seen"),
    }
