"""Exceptions as seeded are all listed, each answered by a person not concerned, and signed."""

import csv
import io
import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import create_engine, select
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from app.audit.records import TrailEntry
from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.audit.writer import append
from app.bench.records import CouponVerdict
from app.database import Base, Database
from app.errors import Conflict, NotAllowed, Refusal
from app.loads.records import FurnaceRecord, RecordVerdict
from app.main import create_app
from app.panels.records import Custody, CustodyStep
from app.people.records import Meaning, Person, Signature
from app.settings import Settings
from app.tracing.queries.trail_review import ReviewDue, review_due
from app.trail.queries import exceptions, reviews
from app.trail.queries.exceptions import among, newest, outstanding, totals
from app.trail.records import TrailReview
from app.trail.rules.exceptions import Kind, Outstanding
from app.trail.service import Answer, review_trail
from app.trail.service import reviews as service
from tests.audit.test_every_table import content_of
from tests.makers import NOW, Shop
from tests.visits import PASSWORD, Visit, words

LATER = NOW + timedelta(days=1)
FORMULA = "=HYPERLINK(1)"


@pytest.fixture
def shop(sqlite_url: str) -> Iterator[Shop]:
    yield from _opened(sqlite_url)


@pytest.fixture
def shop_on_both(database_url: str) -> Iterator[Shop]:
    yield from _opened(database_url)


def _opened(url: str) -> Iterator[Shop]:
    database = Database(url)
    yield Shop(database)
    with database.read() as session:
        assert verify_trail(session).holds
    database.close()


def _act(shop: Shop, tag: Tag, by: str, *, note: str = "", rows: Any = (), at: Any = LATER) -> int:
    """One act on the trail; hands back its entry's number."""
    with shop.database.write() as session:
        session.add_all(rows)
        append(session, tag, by=by, at=at, about=("coupon", "C-9"), rows=rows, note=note)
        return reviews.last_entry(session)


def _seed(shop: Shop) -> dict[int, Kind]:
    """Exceptions of several kinds between acts that are none; each entry's number and kind."""
    with shop.database.write() as session:
        coupon = shop.coupon(session, "C-9")
        step = CustodyStep(
            coupon_id=coupon.id,
            step=Custody.SHELVED,
            place="shelf",
            note="",
            by_id=shop.inspector.id,
            taken_at=LATER - timedelta(hours=3),
            entered_at=LATER,
        )
    _act(shop, Tag.SIGNED_IN, "mara")
    seeded = {
        _act(shop, Tag.VOID_ASKED, "mara", note="slipped"): Kind.VOID,
        _act(shop, Tag.CUSTODY_RECORDED, "mara", rows=[step]): Kind.LATE,
        _act(shop, Tag.ACT_REFUSED, "tomas", note=FORMULA): Kind.REFUSED,
        _act(shop, Tag.VOID_DECIDED, "ines", note="granted"): Kind.VOID,
        _act(shop, Tag.HOLD_LIFTED, "ines"): Kind.HOLD_LIFTED,
    }
    for minutes in (1, 2, 3):
        last = _act(shop, Tag.SIGN_IN_REFUSED, "-", at=LATER + timedelta(minutes=minutes))
    return seeded | {last: Kind.SIGN_IN_REFUSED}


def _review(shop: Shop, by: Any, **changed: Any) -> int:
    """Answer everything that this person may, as a remark."""
    with shop.database.read() as session:
        covered = reviews.stretch(session, by)
    given = {
        "through": covered.last,
        "answers": {each.place: Answer("looked into it") for each in covered.to_answer},
        "remark": "",
        "password": PASSWORD,
    }
    return review_trail(shop.database, by=by, at=LATER, **(given | changed))


def _newest_first_in_parts(
    session: Session, found: list[Outstanding], end: int, patch: pytest.MonkeyPatch
) -> None:
    """However small the parts that are read and shown, they are every exception, once."""
    backwards = sorted((each.entry.number for each in found), reverse=True)
    for read, looked_at, most in ((3, 6, 2), (2, 2, 100), (500, 500, 1), (1, 4, 3)):
        patch.setattr(exceptions, "_READ_AT_ONCE", read)
        patch.setattr(exceptions, "LOOKED_AT_ONCE", looked_at)
        for kind in (None, *Kind):
            numbers: list[int] = []
            top: int | None = end
            while top is not None:
                looked = newest(session, 1, top, most=most, kind=kind)
                numbers += [each.entry.number for each in looked.found]
                top = None if looked.onward is None else looked.onward - 1
            wanted = [each.entry.number for each in found if kind in {None, each.kind}]
            assert numbers == (backwards if kind is None else sorted(wanted, reverse=True)), kind
        assert outstanding(session, 1, end) == found
        assert among(session, backwards) == found
    patch.undo()


def test_a_review_ends_where_it_would_cover_too_many_entries(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    seeded = _seed(shop)
    monkeypatch.setattr(reviews, "ENTRIES_AT_ONCE", 3)
    covered: list[int] = []
    last = 0
    with shop.database.read() as session:
        end = reviews.last_entry(session)
    while last < end:
        with shop.database.read() as session:
            stretch = reviews.stretch(session, shop.auditor)
        assert (stretch.first, stretch.last) == (last + 1, last + 3)
        last = stretch.last
        covered += [each.entry.number for each in stretch.to_answer]
        answers = {each.place: Answer("looked into it") for each in stretch.to_answer}
        _review(shop, shop.auditor, through=stretch.last, answers=answers)
    assert sorted(covered) == sorted(seeded)


def test_a_review_lists_all_that_was_seeded_and_leaves_the_reviewers_own_acts(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    seeded = _seed(shop)
    with shop.database.read() as session:
        found = outstanding(session, 1, reviews.last_entry(session))
        assert {each.entry.number: each.kind for each in found} == seeded
        assert len(found) == len(seeded)
        assert outstanding(session, 1, 10**6, most=2) == found[:2]
        end = reviews.last_entry(session)
        _newest_first_in_parts(session, found, end, monkeypatch)
        told = totals(session, 1, end)
        assert told == {kind: sum(each.kind is kind for each in found) for kind in told}
        assert Kind.HOLD_LIFTED in told
    with pytest.raises(NotAllowed):
        _review(shop, shop.inspector)
    with pytest.raises(Refusal) as refused:
        _review(shop, shop.supervisor, answers={})
    assert len(refused.value.fields) == 4
    with pytest.raises(Refusal, match="password is not yours"):
        _review(shop, shop.supervisor, password="wrong")
    with pytest.raises(Conflict, match="would end at entry"):
        _review(shop, shop.supervisor, through=10**6)

    key = _review(shop, shop.supervisor)
    with shop.database.read() as session:
        review, lines = reviews.review(session, key)
        assert (review.first_number, review.exceptions) == (1, 6)
        own = {line.entry_number for line in lines if not line.remark}
        assert own == {n for n, kind in seeded.items() if n in own}
        assert {seeded[number] for number in own} == {Kind.VOID, Kind.HOLD_LIFTED}
        signature = session.get_one(Signature, review.signature_id)
        assert signature.meaning is Meaning.REVIEWED_TRAIL
        assert len(reviews.left_open(session)) == 2
        # Not even the same person's other account answers them.
        assert not reviews.stretch(session, shop.supervisor).to_answer

    second = _review(shop, shop.auditor)
    with shop.database.read() as session:
        assert reviews.left_open(session) == []
        _, lines = reviews.review(session, second)
        assert {line.entry_number for line in lines} == own
    with shop.database.read() as session:
        begun = session.scalars(select(TrailReview.last_number).order_by(TrailReview.id)).all()
    assert begun == sorted(begun)


def test_another_account_of_the_same_person_does_not_answer_for_them(shop: Shop) -> None:
    from app.people.queries import actor  # noqa: PLC0415 - beside what it shows

    _act(shop, Tag.VOID_DECIDED, "ines", note="granted")
    with shop.database.write() as session:
        for person in session.scalars(select(Person).where(Person.username.in_(["ines", "olek"]))):
            person.identity_number = "4711"
            append(
                session,
                Tag.PERSON_CHANGED,
                by="rune",
                at=LATER,
                about=("person", "x"),
                rows=[person],
            )
    with shop.database.read() as session:
        again = actor(session, "olek", today=LATER.date())
        covered = reviews.stretch(session, again)
        assert [each.kind for each in covered.left] == [Kind.VOID]
        assert [each.kind for each in covered.to_answer] == [Kind.ONE_PERSON] * 2


def test_of_two_reviews_of_one_stretch_the_later_is_refused(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = service.re_authenticate

    def slowly(*given: Any, **named: Any) -> Any:
        monkeypatch.setattr(service, "re_authenticate", real)
        _review(shop, shop.auditor)
        return real(*given, **named)

    monkeypatch.setattr(service, "re_authenticate", slowly)
    with pytest.raises(Conflict, match="meanwhile"):
        _review(shop, shop.supervisor)
    with shop.database.read() as session:
        assert len(reviews.reviews(session)) == 1


def test_what_a_verdict_was_before_is_read_from_the_records() -> None:
    """A coupon's and a load's verdicts follow one another, whichever import the record came by."""
    engine = create_engine("sqlite://", poolclass=StaticPool)
    Base.metadata.create_all(engine)
    with Session(engine) as session:
        rows = [
            _row(FurnaceRecord, 1, load_id=5, replaces_id=None),
            _row(FurnaceRecord, 2, load_id=6, replaces_id=None),
            _row(FurnaceRecord, 3, load_id=5, replaces_id=None),
            _row(RecordVerdict, 1, record_id=1, verdict="conforms"),
            _row(RecordVerdict, 2, record_id=2, verdict="conforms"),
            _row(RecordVerdict, 3, record_id=3, verdict="not_proven"),
            _row(CouponVerdict, 1, coupon_id=7, verdict="does_not_conform"),
            _row(CouponVerdict, 2, coupon_id=8, verdict="conforms"),
            _row(CouponVerdict, 3, coupon_id=7, verdict="conforms"),
            _row(CouponVerdict, 4, coupon_id=7, verdict="conforms"),
        ]
        for row in rows:
            session.add(row)
            append(session, Tag.COUPON_JUDGED, by="x", at=NOW, about=("x", "-"), rows=[row])
        found = outstanding(session, 1, 99)
        assert [(each.entry.number, each.words) for each in found] == [
            (6, "the furnace record's verdict was conforms and is not proven"),
            (9, "the coupon's verdict was does not conform and is conforms"),
        ]
        assert {each.kind for each in found} == {Kind.TURNED}
    engine.dispose()


def _row(kind: type[Base], key: int, **changed: Any) -> Base:
    given = {column.key: content_of(column, 10 * key) for column in kind.__table__.columns}
    return kind(**(given | {"id": key} | changed))


def test_a_review_is_due_a_week_after_the_last_or_after_the_beginning(shop: Shop) -> None:
    week = timedelta(days=7)
    with shop.database.read() as session:
        assert review_due(session, NOW + week - timedelta(seconds=1)) is None
        assert review_due(session, NOW + week) == ReviewDue(NOW + week, None)
    _review(shop, shop.auditor)
    with shop.database.read() as session:
        assert review_due(session, NOW + week) is None
        assert review_due(session, LATER + week) == ReviewDue(LATER + week, LATER)


def test_the_pages_filter_show_review_and_download(shop_on_both: Shop) -> None:
    shop = shop_on_both
    seeded = _seed(shop)
    app = create_app(Settings(database_url=shop.database.url, shop_name="Test shop"))
    with Visit(app) as visit:
        visit.sign_in("olek")

        def numbers(query: str) -> set[int]:
            page = visit.get(f"/trail?{query}")
            assert page.status_code == 200
            return {int(found) for found in re.findall(r'href="/trail/(\d+)"', page.text)}

        assert numbers("exceptions=yes") == set(seeded)
        assert numbers("text=SLIPPED") == {min(seeded)}
        assert numbers("text=%25") == set()
        assert numbers("act=release:") == {n for n, k in seeded.items() if k is Kind.HOLD_LIFTED}
        assert numbers("by=ines&act=bench:&identity=c-9&exceptions=yes&text=grant") == {
            sorted(n for n, k in seeded.items() if k is Kind.VOID)[1]
        }
        answer = visit.get("/trail.csv?exceptions=yes")
        assert answer.headers["content-type"] == "text/csv; charset=utf-8"
        rows = list(csv.reader(io.StringIO(answer.content.decode())))
        assert {int(row[0]) for row in rows[1:]} == set(seeded)
        assert f"'{FORMULA}" in {row[8] for row in rows}
        assert len(visit.get("/trail.csv?by=mara").text.splitlines()) == 1 + 3

        shown = words(visit.get("/trail/exceptions").text)
        for kind in seeded.values():
            assert kind.value in shown
        narrowed = visit.get("/trail/exceptions?kind=hold lifted").text
        assert narrowed.count('<time datetime="') == 1

        form = visit.get("/trail/review").text
        through = re.search(r'name="through" value="(\d+)">', form)
        assert through
        fields = dict.fromkeys(re.findall(r'name="(seen-[^"]+)"', form), "yes")
        assert len(fields) == 6
        first = next(iter(fields))
        both = {first.replace("seen", "remark"): "something"}
        sent = {"through": through[1], "password": PASSWORD, "remark": "the week"}
        refused = visit.post("/trail/review", **(fields | both | sent))
        assert refused.status_code == 422
        assert "not both" in refused.text
        assert "something</textarea>" in refused.text
        signed = words(visit.follow(visit.post("/trail/review", **(fields | sent))).text)
        assert "seen, no action" in signed
        assert "the week" in signed
        assert "the week" in visit.get("/trail/reviews").text
        assert visit.get("/trail/reviews/99").status_code == 404
        visit.sign_in("mara")
        assert "A supervisor or an auditor signs" in visit.get("/trail/review").text
        assert visit.post("/trail/review", **sent).status_code in {403, 409}


def test_an_entry_shows_what_it_changed_beside_what_was(shop: Shop) -> None:
    with shop.database.write() as session:
        person = session.scalars(select(Person).where(Person.username == "mara")).one()
        person.full_name = "Mara Quill-Okoro"
        append(
            session,
            Tag.PERSON_CHANGED,
            by="rune",
            at=LATER,
            about=("person", "mara"),
            rows=[person],
        )
        number = reviews.last_entry(session)
        of_lot = session.scalars(
            select(TrailEntry.number).where(TrailEntry.body.contains('"thickness_mm":"12.5"'))
        ).first()
    app = create_app(Settings(database_url=shop.database.url, shop_name="Test shop"))
    with Visit(app) as visit:
        visit.sign_in("olek")
        shown = words(visit.get(f"/trail/{number}").text)
        assert re.search(r"full name Mara Quill Mara Quill-Okoro", shown)
        shown = words(visit.get(f"/trail/{of_lot}").text)
        assert "thickness (mm) 12.5" in shown
        assert "entered by Mara Quill" in shown
