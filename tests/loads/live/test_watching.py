"""What a growing record shows: the soak so far, what drifts, silence said aloud; no row twice."""

import time
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from fastapi import FastAPI
from sqlalchemy import event

from app.database import Database
from app.documents.logger.logger_csv import read_logger_csv
from app.loads import queries
from app.loads.live import live_queries
from app.loads.live.live_state import LiveState, live_state
from app.loads.live.live_watch import Watch
from tests.loads.live.live_makers import Sending, at_row, rows_of
from tests.loads.logger_files import STEP_S
from tests.visits import Visit, words

ZONE = ZoneInfo("Europe/Lisbon")


@pytest.fixture
def sending(database: Database) -> Sending:
    return Sending(database)


def seen(sending: Sending, *, now: datetime, watch: Watch | None = None) -> LiveState:
    with sending.database.read() as session:
        load = queries.load(session, sending.code)
        state = live_state(session, load, watch=watch or Watch(), now=now, zone=ZONE)
    assert state is not None
    return state


def facts(state: LiveState) -> dict[str, str]:
    return dict(state.facts)


def test_before_the_first_row_the_page_waits_and_then_warns(sending: Sending) -> None:
    sending.open()
    early = seen(sending, now=at_row(1))
    assert (early.rows, early.alerts) == (0, ())
    late = seen(sending, now=at_row(10))
    assert "sent no row since" in late.alerts[0].text


def test_on_the_way_up_the_earliest_end_is_not_before(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 31))
    state = seen(sending, now=at_row(30))
    # Row 30 is half an hour in; 7,200 s of soak follow at the earliest: 06:30 + 2 h.
    assert state.headline == (
        "The load is not all in the band yet; the cycle cannot be complete before 08:30 "
        "(in 2 h 00 min)."
    )
    assert [row.stands for row in state.sensors] == [
        "62.3 °C below the band",
        "62.0 °C below the band",
    ]
    assert facts(state)["Last row"] == "06:30 (5 s ago)"
    assert state.alerts == ()
    assert state.notes == ("Rows come, but nobody has recorded that the load was started.",)


def test_in_the_soak_the_clock_time_of_its_end_is_told(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 121))
    state = seen(sending, now=at_row(120))
    # TC2 reads 0.3 degC less than TC1, which rises by 130 degC in 3,600 s to 150: TC2 is at 147
    # when TC1 is at 147.3, that is 74.77 s before 07:00. The soak's 7,200 s end at 08:58:45.
    assert "to go; complete at 08:58 (in 59 min) at the earliest." in state.headline
    assert {row.stands for row in state.sensors} == {"in band"}
    assert (state.can_be, state.alerts) == ("conforms", ())


def test_after_the_shortest_soak_it_says_since_when(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 200))
    state = seen(sending, now=at_row(199))
    assert state.headline.startswith("Every soak is long enough since 08:58")


def test_rows_that_stop_are_said_aloud(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 100))
    watch = Watch()
    assert seen(sending, now=at_row(101), watch=watch).alerts == ()
    state = seen(sending, now=at_row(104), watch=watch)
    assert state.alerts[0].key == "silent"
    assert state.alerts[0].text.startswith("Rows stopped coming 4 min ago, at 07:40.")


def test_rows_that_come_late_are_told_from_rows_that_stopped(sending: Sending) -> None:
    sending.open()
    sending.send(rows_of(0, 100), at=at_row(130))
    state = seen(sending, now=at_row(130))
    assert [one.key for one in state.alerts] == ["behind"]
    assert "the logger is catching up, or its clock is behind" in state.alerts[0].text


def test_a_sensor_that_drifts_is_warned_of_with_its_crossing_in_clock_time(
    sending: Sending,
) -> None:
    sending.open()
    rows = rows_of(0, 151)
    for number in range(90, 151):
        # TC1 rises from 150.0 at 07:30 by 0.02 degC a minute; 153 lies 150 minutes on, at 10:00.
        rows[number][1] = f"{150 + 0.02 * (number - 90):.2f}"
    sending.send(rows)
    state = seen(sending, now=at_row(150))
    assert [one.key for one in state.alerts] == ["drift:TC1:above"]
    text = state.alerts[0].text
    assert text.startswith("TC1 rises by 1.2 °C an hour and is at 151.2 °C.")
    assert "it crosses 153 °C at 10:00 (in 1 h 30 min)" in text
    assert state.sensors[0].coming == "on its trend 153 °C at 10:00 (in 1 h 30 min)"


def test_vacuum_that_falls_is_warned_of(sending: Sending) -> None:
    sending.open()
    rows = rows_of(0, 121)
    for number in range(121):
        rows[number][3] = f"{88 - 0.1 * number:.2f}"
    sending.send(rows)
    state = seen(sending, now=at_row(120))
    # 88 - 12 = 76 kPa at 08:00, 0.1 a minute: 70 lies an hour on.
    assert [one.key for one in state.alerts] == ["drift:VAC:below"]
    assert "crosses 70 kPa at 09:00 (in 1 h 00 min)" in state.alerts[0].text
    assert facts(state)["Bag vacuum, below ambient"] == "76.0 kPa, at least 70"


def test_a_sensor_out_of_the_band_and_what_is_lost(sending: Sending) -> None:
    sending.open()
    rows = rows_of(0, 121)
    for number in range(116, 121):
        rows[number][1] = "155.5"
    sending.send(rows)
    state = seen(sending, now=at_row(120))
    assert state.can_be == "does_not_conform"
    assert any("TC1, up to 2.5 °C beyond it" in one.text for one in state.alerts)
    assert state.sensors[0].stands == "2.5 °C above the band"


def test_rows_read_bit_for_bit_as_the_import_reads_them(sending: Sending) -> None:
    sending.open()
    watch, rows = Watch(), rows_of(0, 150)
    rows[40][2] = None
    for first, last in ((0, 1), (1, 40), (40, 41), (41, 150)):
        sending.send(rows[first:last], first=first, at=at_row(150))
        with sending.database.read() as session:
            live = live_queries.live_of(session, sending.load.id)
            assert live is not None
            grown = watch.grown(session, live)
    text = "\n".join(["time,TC1,TC2,VAC", *sending.kept_lines()])
    whole = read_logger_csv(text.encode(), filename="whole")
    assert grown.trace is not None
    assert grown.trace.times.tobytes() == whole.trace.times.tobytes()
    for name, values in whole.trace.channels.items():
        assert np.array_equal(grown.trace.channels[name], values, equal_nan=True)


def test_what_was_handed_out_does_not_change_when_rows_come(sending: Sending) -> None:
    sending.open()
    watch = Watch()
    sending.send(rows_of(0, 10), at=at_row(10))
    with sending.database.read() as session:
        live = live_queries.live_of(session, sending.load.id)
        assert live is not None
        before = watch.grown(session, live)
        assert before.trace is not None
        copy = before.trace.times.copy()
    sending.send(rows_of(10, 30), first=10, at=at_row(30))
    with sending.database.read() as session:
        assert watch.grown(session, live).rows == 30
    assert np.array_equal(before.trace.times, copy)


class Watched:
    """The page of a run that grows now, seen by somebody signed in."""

    def __init__(self, visit: Visit, sending: Sending, *, rows: int) -> None:
        self.visit, self.sending = visit, sending
        self.base = f"/loads/{sending.code}"
        self.start = datetime.now(UTC) - timedelta(seconds=rows * STEP_S)
        self.rows = rows_of(0, 271, start=self.start)
        sending.open(at=self.start)
        self.send(0, rows)
        visit.sign_in("mara")

    def send(self, first: int, last: int) -> None:
        # The service is told a time; the pages, whose clock is the machine's, see rows ahead of it.
        at = max(datetime.now(UTC), datetime.fromisoformat(self.rows[last - 1][0]))
        self.sending.send(self.rows[first:last], first=first, at=at)

    def state(self, after: int | None = None) -> Any:
        more = "" if after is None else f"?after={after}"
        answer = self.visit.get(f"{self.base}/live/state{more}")
        assert answer.status_code == 200, words(answer.text)
        return answer.json()


@pytest.fixture
def watched(visit: Visit, sending: Sending) -> Watched:
    return Watched(visit, sending, rows=120)


def test_the_page_the_load_and_today_say_the_same(watched: Watched) -> None:
    for address in (f"{watched.base}/live", watched.base, "/"):
        page = words(watched.visit.get(address).text)
        assert "to go; complete at" in page, address
    assert "still become: conforms" in words(watched.visit.get(f"{watched.base}/live").text)


def test_the_picture_grows_row_by_row_without_gap_or_double(watched: Watched) -> None:
    points = watched.visit.get(f"{watched.base}/live/points").json()
    assert points["next"] == 120
    times, values = points["t"], points["series"][0]["values"]
    known = points["next"]
    for last in (121, 125, 126, 160):
        watched.send(known, last)
        time.sleep(0.3)
        rows = watched.state(after=known)["rows"]
        assert (rows["first"], rows["next"], rows["anew"]) == (known, last, False)
        times += rows["t"]
        values += rows["series"]["TC1"]
        known = rows["next"]
        assert watched.state(after=known)["rows"] is None
    whole = watched.visit.get(f"{watched.base}/live/points").json()
    assert times == whole["t"] == [STEP_S * number for number in range(160)]
    assert values == whole["series"][0]["values"]


def test_a_page_that_is_far_behind_or_ahead_draws_anew(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.loads.live.live_points.MOST_NEW", 50)
    assert watched.state(after=0)["rows"] == {"first": 0, "next": 120, "anew": True}
    assert watched.state(after=500)["rows"]["anew"] is True


def test_the_still_picture_shows_what_there_is(watched: Watched) -> None:
    answer = watched.visit.get(f"{watched.base}/live.svg")
    assert answer.headers["content-type"] == "image/svg+xml"
    assert "TC1" in answer.text


def test_a_load_without_a_growing_record_says_so(visit: Visit, sending: Sending) -> None:
    visit.sign_in("olek")
    base = f"/loads/{sending.code}"
    assert "No logger has opened a record" in words(visit.get(f"{base}/live").text)
    for part in ("live/state", "live/points", "live.svg"):
        assert visit.get(f"{base}/{part}").status_code == 404
    assert visit.get("/loads/L-NONE/live").status_code == 404
    assert "Growing record" not in visit.get(base).text


def test_closing_by_hand_asks_for_a_reason_and_leads_to_the_load(watched: Watched) -> None:
    watched.send(120, 121)
    close = f"{watched.base}/live/close"
    refused = watched.visit.post(close, reason=" ")
    assert (refused.status_code, "Say how you know" in words(refused.text)) == (422, True)
    kept = watched.visit.post(close, reason="the logger was switched off at the wall")
    page = words(watched.visit.follow(kept).text)
    assert "The growing record is closed and kept; it does not conform." in page
    page = words(watched.visit.get(f"{watched.base}/live").text)
    assert "The run is over and its furnace record is in" in page
    assert watched.state()["growing"] is False


def test_an_auditor_watches_and_closes_nothing(watched: Watched) -> None:
    watched.visit.sign_in("olek")
    assert "Close it by hand" not in watched.visit.get(f"{watched.base}/live").text
    refused = watched.visit.post(f"{watched.base}/live/close", reason="why not")
    assert refused.status_code == 403


def test_a_reader_without_script_may_ask_for_the_page_again_and_again(watched: Watched) -> None:
    plain = watched.visit.get(f"{watched.base}/live").text
    assert "http-equiv" not in plain
    again = watched.visit.get(f"{watched.base}/live?again=1").text
    assert '<noscript><meta http-equiv="refresh" content="60"></noscript>' in again


def test_a_poll_asks_as_often_however_far_the_record_has_come(
    app: FastAPI, watched: Watched
) -> None:
    counts = []
    for first, last in ((120, 130), (130, 140), (140, 200)):
        watched.send(first, last)
        asked: list[str] = []

        def count(*given: Any, asked: list[str] = asked) -> None:
            asked.append(given[2])

        engine = app.state.database.engine
        event.listen(engine, "before_cursor_execute", count)
        watched.state(after=first)
        event.remove(engine, "before_cursor_execute", count)
        counts.append(len(asked))
    # An outlook that is kept for a moment saves some.
    assert max(counts) - min(counts) <= 4
    assert max(counts) < 30
