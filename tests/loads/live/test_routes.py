"""Who may send rows and who may not; what is answered; that a token opens nothing else."""

import json
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from app.database import Database
from app.loads import service
from app.loads.live.live_rows import MOST_BYTES
from app.loads.pages import live_sending
from tests.browser.test_every_page import routes_of
from tests.loads.live.live_makers import CHANNELS, Sending, lines_as_kept, rows_of
from tests.makers import NOW, bind
from tests.visits import Visit, words

OPENING = {"channels": list(CHANNELS), "temperature_unit": "C"}
SENDING = "/live/"


@pytest.fixture
def sending(database: Database) -> Sending:
    made = Sending(database)
    # The clock of the pages is today's; the makers' is not.
    made.token = service.issue_token(
        database,
        name="cabinet today",
        furnace="FN-1",
        answers="mara",
        ends_at=datetime.now(UTC) + timedelta(days=1),
        by=made.shop.administrator,
        at=datetime.now(UTC),
    )
    return made


class Logger:
    """A logger at the line: no cookie, a token."""

    def __init__(self, visit: Visit, sending: Sending, token: str | None = None) -> None:
        self.client = visit.client
        self.base = f"/live/{sending.code}"
        self.headers = {"Authorization": f"Bearer {token or sending.token}"}

    def post(self, what: str, body: Any) -> httpx.Response:
        content = body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.client.post(f"{self.base}/{what}", content=content, headers=self.headers)

    def next(self) -> Any:
        return self.client.get(f"{self.base}/next", headers=self.headers).json()


def test_a_run_from_the_opening_to_the_verdict(visit: Visit, sending: Sending) -> None:
    logger, rows = Logger(visit, sending), rows_of()
    assert logger.next() == {"next": 0, "open": False}
    assert logger.post("open", OPENING).json() == {"next": 0}
    assert logger.post("rows", {"first": 0, "rows": rows[:100]}).json() == {"next": 100}
    assert logger.next() == {"next": 100, "open": True}
    assert logger.post("rows", {"first": 90, "rows": rows[90:]}).json() == {"next": len(rows)}
    closed = logger.post("close", {"rows": len(rows)})
    assert closed.json() == {"rows": len(rows), "verdict": "conforms", "why_not": None}
    assert logger.next() == {"next": len(rows), "open": False}
    assert sending.kept_lines() == lines_as_kept(rows)


def test_a_refusal_is_one_sentence_and_the_number_expected(visit: Visit, sending: Sending) -> None:
    logger = Logger(visit, sending)
    assert logger.post("rows", {"first": 0, "rows": rows_of(0, 1)}).status_code == 409
    logger.post("open", OPENING)
    gap = logger.post("rows", {"first": 5, "rows": rows_of(5, 6)})
    assert (gap.status_code, gap.json()["next"]) == (409, 0)
    assert gap.json()["sentence"].startswith("Row 0 is expected next")
    unread = logger.post("rows", {"first": 0, "rows": [["today", 1, 2, 3]]})
    assert (unread.status_code, set(unread.json())) == (422, {"sentence"})
    large = logger.post("rows", b" " * (MOST_BYTES + 1))
    assert (large.status_code, "4 MB" in large.json()["sentence"]) == (422, True)
    ahead = rows_of(0, 1, start=datetime.now(UTC) + timedelta(minutes=5))
    assert "clock" in logger.post("rows", {"first": 0, "rows": ahead}).json()["sentence"]


@pytest.mark.parametrize(
    "header",
    [None, "", "Bearer", "Bearer ", "Bearer wrong", "Basic dGVzdDp0ZXN0", "tb_wrong"],
)
def test_without_a_token_nothing_is_taken(
    visit: Visit, sending: Sending, header: str | None
) -> None:
    headers = {} if header is None else {"Authorization": header}
    answer = visit.client.post(f"/live/{sending.code}/open", json=OPENING, headers=headers)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert sending.token not in answer.text


def test_a_sign_in_does_not_open_the_logger_s_addresses(visit: Visit, sending: Sending) -> None:
    visit.sign_in("rune")
    answer = visit.client.post(f"/live/{sending.code}/open", json=OPENING)
    assert answer.status_code == 401


def test_an_ended_and_a_revoked_token_open_nothing(visit: Visit, sending: Sending) -> None:
    ended = Logger(visit, sending, sending.issue("old cabinet", days=1))
    assert ended.post("open", OPENING).status_code == 401
    logger = Logger(visit, sending)
    assert logger.post("open", OPENING).status_code == 200
    with sending.database.read() as session:
        found = service.logger_tokens.live_queries.token_lines(session)
    token_id = next(one.id for one in found if one.name == "cabinet today")
    service.revoke_token(
        sending.database,
        token_id,
        reason="the cabinet was sold",
        by=sending.shop.administrator,
        at=datetime.now(UTC),
    )
    assert logger.post("rows", {"first": 0, "rows": rows_of(0, 1)}).status_code == 401
    assert "in force" in logger.post("open", OPENING).json()["sentence"]


def test_another_furnace_s_token_is_refused(visit: Visit, sending: Sending) -> None:
    with sending.database.write() as session:
        furnace = (
            sending.shop.another_furnace(session, "FN-2")
            if hasattr(sending.shop, "another_furnace")
            else _furnace(sending, session)
        )
    token = service.issue_token(
        sending.database,
        name="the other cabinet",
        furnace=furnace,
        answers="mara",
        ends_at=datetime.now(UTC) + timedelta(days=1),
        by=sending.shop.administrator,
        at=datetime.now(UTC),
    )
    logger = Logger(visit, sending, token)
    for what, body in (
        ("open", OPENING),
        ("rows", {"first": 0, "rows": rows_of(0, 1)}),
        ("close", {"rows": 0}),
    ):
        answer = logger.post(what, body)
        assert answer.status_code == 403, what
        assert "FN-2" in answer.json()["sentence"]
    assert visit.client.get(f"{logger.base}/next", headers=logger.headers).status_code == 403


def _furnace(sending: Sending, session: Any) -> str:
    from app.audit.records import Identity  # noqa: PLC0415
    from app.equipment.records import Furnace  # noqa: PLC0415

    known = session.get_one(Furnace, sending.shop.furnace_id)
    columns = {
        column.key: getattr(known, column.key)
        for column in Furnace.__table__.columns
        if column.key not in {"id", "code"}
    }
    bind(
        session,
        Identity(code="FN-2", kind="furnace", given_at=NOW),
        Furnace(code="FN-2", **columns),
    )
    return "FN-2"


def test_a_token_opens_no_other_address(app: FastAPI, visit: Visit, sending: Sending) -> None:
    """Each route but the logger's own answers as it does to a stranger."""
    asked = 0
    for route in routes_of(app):
        if route.path.startswith(SENDING) or "{path" in route.path:
            continue
        address = (
            route.path.replace("{code:path}", sending.code)
            .replace("{number:int}", "1")
            .replace("{token_id:int}", "1")
        )
        address = re.sub(r"\{[^}]+\}", "1", address)
        for method in route.methods - {"HEAD"}:
            answers = [
                visit.client.request(method, address, headers=headers)
                for headers in ({}, {"Authorization": f"Bearer {sending.token}"})
            ]
            stranger, logger = (
                (answer.status_code, answer.headers.get("location")) for answer in answers
            )
            assert logger == stranger, (method, address)
            signs_in = address == "/sign-in"
            # Other machines' addresses ask for a token of their own.
            closed = {401} if address.startswith("/machine/") else {303, 422}
            assert signs_in or logger[0] in closed, (method, address, logger)
            asked += 1
    assert asked > 60


def test_every_logger_s_address_asks_for_the_token(app: FastAPI, visit: Visit) -> None:
    found = [route for route in routes_of(app) if route.path.startswith(SENDING)]
    assert len(found) == 4
    for route in found:
        for method in route.methods - {"HEAD"}:
            address = route.path.replace("{code:path}", "L-1")
            assert visit.client.request(method, address).status_code == 401


def test_a_sender_in_a_hurry_is_told_to_wait(
    visit: Visit, sending: Sending, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live_sending, "_pace", live_sending.Pace(most=3, per_s=0.001))
    logger = Logger(visit, sending)
    assert [logger.post("open", OPENING).status_code for _ in range(5)] == [200] * 3 + [429] * 2
    assert logger.post("open", OPENING).headers["retry-after"] == "1"


def test_the_token_is_shown_once_and_stands_in_no_address_and_no_cookie(
    visit: Visit, sending: Sending
) -> None:
    visit.sign_in("rune")
    last_day = (datetime.now(UTC) + timedelta(days=30)).date().isoformat()
    form = {"name": "cabinet 2", "furnace": "fn-1", "answers": "ines", "last_day": last_day}
    issued = visit.post("/logger-tokens", **form)
    assert issued.status_code == 200
    token = issued.text.split('<code class="token" tabindex="0">')[1].split("<")[0]
    assert token.startswith("tb_")
    assert token not in str(issued.headers)
    again = visit.get("/logger-tokens")
    assert token not in again.text
    assert "Ines Valcourt" in words(again.text)
    assert Logger(visit, sending, token).post("open", OPENING).status_code == 200
    assert "was issued before" in words(visit.post("/logger-tokens", **form).text)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"answers": "olek"}, "Choose somebody who may import"),
        ({"answers": ""}, "Who answers for it is missing"),
        ({"furnace": "FN-9"}, "No furnace FN-9 is on record"),
        ({"last_day": "2020-01-01"}, "must end in the future"),
        ({"last_day": "2999-01-01"}, "within 400 days"),
        ({"last_day": "tomorrow"}, "is not a date"),
        ({"name": " "}, "name is missing"),
    ],
)
def test_a_token_that_cannot_be_issued_keeps_what_was_typed(
    visit: Visit, sending: Sending, changed: dict[str, str], says: str
) -> None:
    visit.sign_in("rune")
    last_day = (datetime.now(UTC) + timedelta(days=30)).date().isoformat()
    form = {"name": "cabinet 3", "furnace": "FN-1", "answers": "ines", "last_day": last_day}
    answer = visit.post("/logger-tokens", **{**form, **changed})
    assert answer.status_code in {404, 422}
    assert says in words(answer.text)
    kept = {**form, **changed}
    assert f'value="{kept["last_day"]}"' in answer.text


def test_only_an_administrator_issues_and_revokes(visit: Visit, sending: Sending) -> None:
    visit.sign_in("ines")
    assert "Issue the token" not in visit.get("/logger-tokens").text
    assert visit.post("/logger-tokens", name="x").status_code == 403
    assert visit.post("/logger-tokens/1/revoke", reason="why").status_code == 403


def test_a_token_is_revoked_with_a_reason(visit: Visit, sending: Sending) -> None:
    visit.sign_in("rune")
    missing = visit.post("/logger-tokens/1/revoke", reason_1=" ")
    assert (missing.status_code, "reason is missing" in words(missing.text)) == (422, True)
    visit.follow(visit.post("/logger-tokens/1/revoke", reason_1="the cabinet was sold"))
    assert "the cabinet was sold" in words(visit.get("/logger-tokens").text)
    assert visit.post("/logger-tokens/1/revoke", reason_1="again").status_code == 409
    assert visit.post("/logger-tokens/99/revoke", reason_99="again").status_code == 404
