"""What is one person's alone: accounts by others only; sessions, studies and looks by their own."""

import io
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from urllib.parse import urlencode

import pytest

from app.bench import service as bench_service
from app.bench.rules.study_order import order_of
from app.bench.service import studies
from app.errors import Refusal
from app.loads.importing.uploads import Uploads, upload_folder
from app.people.records import Person, Task
from app.people.rights import Hand
from app.requirements.records import RequirementKind
from app.settings import Settings
from tests.bench.bench_makers import FAILED_CHECK, GOOD_CHECK
from tests.bench.bench_makers import ZONE as BENCH_ZONE
from tests.loads.logger_files import run
from tests.makers import NOW, TABLE_PAPER, bind, password_hash
from tests.rights.pairs import TwoPeople
from tests.rights.second import SAID, Second

NUMBER = "W1001"
_READINGS = {"fields": "3", "reading_1": "84.5", "reading_2": "85.0", "reading_3": "85.5"}
_BLOCK = GOOD_CHECK["HT-1"]


def their_own(two: TwoPeople) -> Iterator[tuple[str, Callable[[], Second]]]:
    """Each pair by name; a call does the first half as the first person."""
    for said, path, hand in (
        ("closes", "close", Hand.ACCOUNT),
        ("opens again", "reopen", Hand.ACCOUNT),
        ("gives a password to", "first-password", Hand.ACCOUNT),
        ("resets the second factor of", "second-factor/reset", Hand.ACCOUNT),
        ("authorises", "authorisations", Hand.AUTHORISED),
    ):
        yield f"{said} an account of theirs", partial(_account, two, path, hand)
    yield "takes back an authorisation of theirs", partial(_authorised, two)
    for changed in ("roles", "number"):
        yield f"changes their {changed}", partial(_changed, two, changed)
    for address in ("check", "readings", "draft", "baseline", "scan"):
        yield f"sends a session's {address}", partial(_session, two, address)
    for address in ("readings", "scan"):
        yield f"measures again for a retest by another, {address}", partial(_again, two, address)
    yield "works where a check fails and lets be used", partial(_check_failed, two)
    yield "measures, and answers a void", partial(_void, two)
    yield "measures, and answers a correction", partial(_correction, two)
    yield "measures in a study", partial(_study, two)
    yield "looks at waiting files", partial(_upload, two, "GET")
    yield "keeps waiting files", partial(_upload, two, "POST")


def _another(two: TwoPeople, name: str, *, active: bool = True) -> tuple[str, dict[str, int]]:
    """A further account of the first person, with what it is authorised for."""
    username = f"ada.{name}"
    with two.database.write() as session:
        person = Person(
            username=username,
            full_name="Ada Lorn",
            roles=["inspector"],
            identity_number=NUMBER,
            password_hash=password_hash(),
            totp_secret="JBSWY3DPEHPK3PXP",
            active=active,
            added_at=NOW,
        )
        bind(session, person, about=("person", username))
        return username, two.shop.authorise(session, person, {Task.HARDNESS})


def _account(two: TwoPeople, path: str, hand: Hand) -> Second:
    username, _ = _another(two, path.replace("/", "."), active=path != "reopen")
    today = datetime.now(UTC).date()
    grant = {
        "task": Task.CONDUCTIVITY.value,
        "from_day": today.isoformat(),
        "last_day": (today + timedelta(days=30)).isoformat(),
        "grounds": SAID,
    }
    return Second(hand, f"/people/{username}/{path}", {"reason": SAID, **grant})


def _authorised(two: TwoPeople) -> Second:
    username, by_task = _another(two, "authorised")
    path = f"/people/{username}/authorisations/{by_task[Task.HARDNESS.value]}/end"
    return Second(Hand.AUTHORISED, path, {"reason": SAID})


def _changed(two: TwoPeople, what: str) -> Second:
    username, _ = _another(two, what)
    page = f"/people/{username}"
    stated = {"full_name": "Ada Lorn", "identity_number": NUMBER, "roles": ["inspector"]}
    stated |= (
        {"roles_shown": "yes", "roles": ["engineer"]}
        if what == "roles"
        else {"identity_number": "W1003"}
    )
    return Second(Hand.ROLES, f"{page}/change", stated, reads=page)


def _tester(two: TwoPeople, code: str) -> str:
    with two.database.write() as session:
        two.shop._tester(session, code, "hardness", "HRB", "85.0", "1.0")  # noqa: SLF001 - its maker
    return code


def _opened(two: TwoPeople, tester: str, username: str = "ada", *, checked: bool = True) -> int:
    """A session of the person at a tester of its own."""
    by = two.actor(username)
    number = bench_service.open_session(
        two.database, tester_code=_tester(two, tester), by=by, at=two.bench.tick(), zone=BENCH_ZONE
    )
    if checked:
        two.bench.check(number, tester, "opening", *_BLOCK, by=by)
    return number


def _session(two: TwoPeople, address: str) -> Second:
    tester = f"HT-{address.upper()}"
    number = _opened(two, tester, checked=address != "check")
    path = f"/bench/sessions/{number}/{address}"
    if address == "check":
        check = {"moment": "opening", "block": f"RB-{tester}", "fields": "2"}
        check |= {"reading_1": _BLOCK[0], "reading_2": _BLOCK[1]}
        return Second(Hand.SESSION_OR_CLOSING, path, check, own=True)
    if address == "baseline":
        with two.database.write() as session:
            coupon = two.shop.coupon(session, "C-RAW").code
    else:
        coupon = two.bench.coupon().code
    if address == "scan":
        return Second(Hand.SESSION, f"{path}?coupon={coupon}", method="GET", own=True)
    return Second(Hand.SESSION, path, _typed(two, coupon), own=True)


def _typed(two: TwoPeople, coupon: str) -> dict[str, str]:
    form = {"coupon": coupon, "submission": two.bench.form(), "spacing_confirmed": "yes"}
    return form | _READINGS


def _again(two: TwoPeople, address: str) -> Second:
    """A retest that another person than the first has to measure; everybody has a session."""
    usual, bench = two.shop.table_revision_id, two.bench
    entry = {
        **TABLE_PAPER["entries"][0],
        "retest": {"further": 1, "of": "sets", "by_another": True},
    }
    with two.database.write() as session:
        two.shop.table_revision_id = two.shop._requirement(  # noqa: SLF001 - its maker
            session,
            f"AT-AGAIN-{address.upper()}",
            RequirementKind.ACCEPTANCE_TABLE,
            {**TABLE_PAPER, "entries": [entry]},
            {},
        )
    coupon = bench.coupon()
    two.shop.table_revision_id = usual
    bench.conductive(coupon, by=two.shop.second)
    bench.hard(coupon, "82.5", "85.0", "85.0", by=two.own)
    bench.retest(coupon)
    at = {}
    for place, username in enumerate(("ada", "ada.second", "bo")):
        number = _opened(two, f"HT-{address.upper()}-{place}", username)
        at[username] = f"/bench/sessions/{number}/{address}"
    if address == "scan":
        at = {username: f"{path}?coupon={coupon.code}" for username, path in at.items()}
        return Second(Hand.MEASURED_FIRST, at["bo"], method="GET", paths=at)
    return Second(Hand.MEASURED_FIRST, at["bo"], _typed(two, coupon.code), paths=at)


def _check_failed(two: TwoPeople) -> Second:
    number = _opened(two, "HT-FAILS")
    two.bench.check(number, "HT-FAILS", "closing", *FAILED_CHECK["HT-1"], by=two.shop.supervisor)
    return Second(Hand.WORKED, "/testers/HT-FAILS/quarantine/lift", {"reason": SAID})


def _void(two: TwoPeople) -> Second:
    coupon = two.bench.coupon()
    two.bench.hard(coupon, by=two.own)
    reading = two.bench.readings(coupon)[0]
    request = two.asked_void(coupon, reading, two.shop.second)
    sent = {"request": str(request), "answer": "decline", "reason": SAID}
    return Second(Hand.TOOK_READING, f"/coupons/{coupon.code}/void-answer", sent)


def _correction(two: TwoPeople) -> Second:
    """Somebody asks for a correction of a coupon on which the first person took other readings."""
    coupon, bench = two.bench.coupon(), two.bench
    bench.hard(coupon, "84.5", "85.0", "76.0", by=two.shop.second)
    bench.conductive(coupon, by=two.own)
    wrong = next(one for one in bench.readings(coupon) if str(one.value) == "76.0")
    bench.correct(coupon, wrong, "84.7", by=two.shop.second, evidence=SAID)
    (request,) = bench.asked(coupon)
    sent = {"request": str(request.id), "answer": "decline", "reason": SAID}
    return Second(Hand.TOOK_ON_COUPON, f"/coupons/{coupon.code}/correction-answer", sent)


def _study(two: TwoPeople) -> Second:
    parts = ("P1", "P2", "P3")

    def opened(*operators: int) -> int:
        wanted = studies.StudyWanted("HT-1", SAID, parts, operators, 2)
        return studies.open_study(
            two.database, wanted, by=two.shop.engineer, at=two.bench.tick(), zone=BENCH_ZONE
        )

    with pytest.raises(Refusal, match="are one person's"):
        opened(two.own.id, two.actor("ada.second").id)
    number = opened(two.own.id, two.shop.second.id)
    first = order_of(number, two.own.id, parts, 2)[0]
    sent = {"part": first.part, "trial": str(first.trial), "reading_1": "84.5"}
    return Second(Hand.STUDY, f"/studies/{number}/readings", sent, own=True)


def _upload(two: TwoPeople, method: str) -> Second:
    """Files that wait in the first person's name: to others they are not there."""
    load, *_ = two.shop.panel_in_load()
    folder = upload_folder(Settings(database_url=two.database_url))
    waiting = Uploads(folder, limit_bytes=1_000_000).take(
        io.BytesIO(run()),
        file_name="run.csv",
        load_code=load.code,
        person_id=two.own.id,
        now_s=datetime.now(UTC).timestamp(),
    )
    path = f"/loads/{load.code}/record"
    if method == "GET":
        address = f"{path}?{urlencode({'upload': waiting.token})}"
        return Second(Hand.UPLOAD, address, method="GET", own=True, refused=404)
    sent = {"upload": waiting.token, "act": "look"}
    return Second(Hand.UPLOAD, f"{path}/keep", sent, own=True, refused=404)
