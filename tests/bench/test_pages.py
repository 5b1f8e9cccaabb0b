"""The bench and the coupon page, over HTTP as a browser without script would."""

import re
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import event

from app.bench import pages
from tests.bench.bench_makers import Bench
from tests.visits import Visit, words


@pytest.fixture
def bench(bench: Bench, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The bench, with the pages reading the test's own clock."""
    for page in (pages.bench, pages.session, pages.checks, pages.entry, pages.coupons):
        monkeypatch.setattr(page, "now", bench.tick)
    return bench


def _hidden(html: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', html)
    assert found, name
    return found[1]


def _boxes(html: str) -> list[str]:
    return re.findall(r'name="(reading_\d+)"', html)


def _session(visit: Visit, tester: str = "HT-1") -> str:
    visit.sign_in("mara")
    return visit.post("/bench/sessions", tester=tester).headers["location"]


def _opened(visit: Visit) -> str:
    """A hardness session with its opening check made on the page."""
    address = _session(visit)
    answer = visit.post(
        f"{address}/check",
        moment="opening",
        block="RB-HT-1",
        fields="3",
        reading_1="85,2",
        reading_2="84.8",
        reading_3="",
    )
    assert "within the permitted 1.0 HRB" in visit.follow(answer).text
    return address


def _readings(html: str, **changed: str) -> dict[str, str]:
    return {
        "coupon": _hidden(html, "coupon"),
        "submission": _hidden(html, "submission"),
        "fields": "3",
        "spacing_confirmed": "yes",
        "reading_1": "84.5",
        "reading_2": "85.0",
        "reading_3": "85,5",
        **changed,
    }


def test_the_whole_way_from_the_bench_page_to_a_final_verdict(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    visit.sign_in("mara")
    front = visit.get("/bench")
    assert coupon.code in front.text
    assert "S1" in front.text
    address = _opened(visit)
    page = visit.get(address)
    assert "Scan a coupon" in page.text
    assert "3 to take" in page.text
    entry = visit.get(f"{address}?coupon={coupon.code.lower()}")
    assert "Position" in entry.text
    assert _boxes(entry.text) == ["reading_1", "reading_2", "reading_3"]
    assert "83.0" not in entry.text  # limits are not shown before the readings are in
    saved = visit.follow(visit.post(f"{address}/readings", **_readings(entry.text)))
    assert "verdict--bench" in saved.text
    assert "Provisional until the closing check" in saved.text
    assert "84.5, 85.0, 85.5 HRB" in saved.text
    assert "All expected coupons are measured" in saved.text
    closing = visit.get(f"{address}?check=closing")
    assert "ends the session" in closing.text
    visit.post(
        f"{address}/check",
        moment="closing",
        block="RB-HT-1",
        fields="2",
        reading_1="85.0",
        reading_2="85.1",
    )
    assert "This session is closed" in visit.get(address).text
    dossier = visit.get(f"/coupons/{coupon.code}")
    assert "provisional" not in dossier.text.split("Readings")[0]
    assert "/tables/AT-1?revision=A#entry-1" in dossier.text
    assert "readings recorded" in dossier.text


def test_a_refused_reading_stays_typed_with_its_sentence_beside_it(
    bench: Bench, visit: Visit
) -> None:
    coupon = bench.coupon()
    address = _opened(visit)
    entry = visit.get(f"{address}?coupon={coupon.code}").text
    typed = _readings(entry, reading_2="8.52", reading_3="eighty")
    answer = visit.post(f"{address}/readings", **typed)
    assert answer.status_code == 422
    assert "Reading 3: &#39;eighty&#39; is not a number; write it like 38.5." in answer.text
    assert 'value="8.52"' in answer.text
    assert 'value="eighty"' in answer.text
    assert "checked" in answer.text
    assert _hidden(answer.text, "submission") == typed["submission"]
    answer = visit.post(f"{address}/readings", **{**typed, "reading_3": "85.0"})
    assert "8.52 HRB cannot be: did you mean 85.2?" in answer.text
    assert 'value="8.52"' in answer.text
    assert bench.readings(coupon) == []


def test_a_tick_confirms_only_the_figures_it_was_shown_with(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    address = _opened(visit)
    entry = visit.get(f"{address}?coupon={coupon.code}").text
    typed = _readings(entry, reading_2="58.2")
    asked = visit.post(f"{address}/readings", **typed)
    assert "58.2 HRB is unusual here" in asked.text
    tick = _hidden(asked.text, "confirmed")
    other = visit.post(f"{address}/readings", **{**typed, "reading_2": "58.1", "confirmed": tick})
    assert other.status_code == 422
    taken = visit.post(f"{address}/readings", **{**typed, "confirmed": tick})
    assert taken.status_code == 303


def test_one_more_reading_can_be_asked_for_without_losing_the_others(
    bench: Bench, visit: Visit
) -> None:
    coupon = bench.coupon()
    address = _opened(visit)
    entry = visit.get(f"{address}?coupon={coupon.code}").text
    more = visit.post(f"{address}/readings", more="1", **_readings(entry))
    assert more.status_code == 200
    assert _boxes(more.text)[-1] == "reading_4"
    assert 'value="85,5"' in more.text
    assert bench.readings(coupon) == []
    more = visit.post(f"{address}/check", more="1", moment="interim", fields="3", reading_1="85.1")
    assert _boxes(more.text)[-1] == "reading_4"
    assert 'value="85.1"' in more.text


def test_the_form_sent_twice_is_recorded_once(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    address = _opened(visit)
    typed = _readings(visit.get(f"{address}?coupon={coupon.code}").text)
    first = visit.post(f"{address}/readings", **typed)
    again = visit.post(f"{address}/readings", **typed)
    assert first.headers["location"] == again.headers["location"]
    assert len(bench.readings(coupon)) == 3


def test_a_wrong_scan_is_refused_in_words_and_stays_to_be_read(bench: Bench, visit: Visit) -> None:
    address = _opened(visit)
    answer = visit.get(f"{address}?coupon=p-9")
    assert answer.status_code == 404
    assert 'role="alert"' in answer.text
    assert "No coupon P-9 is on record" in answer.text
    assert 'value="p-9"' in answer.text
    assert "cannot be an identity" in visit.get(f"{address}?coupon=%3Cb%3E").text


def test_somebody_elses_session_is_seen_but_not_typed_into(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    address = _opened(visit)
    typed = _readings(visit.get(f"{address}?coupon={coupon.code}").text)
    visit.sign_in("deniz")
    page = visit.get(f"{address}?coupon={coupon.code}")
    assert "Mara Quill takes the readings" in page.text
    assert "reading_1" not in page.text
    answer = visit.post(f"{address}/readings", **typed)
    assert answer.status_code == 403
    assert "This session at HT-1 is Mara Quill&#39;s" in answer.text


@pytest.mark.parametrize("username", ["tomas", "olek", "rune"])
def test_others_read_the_bench_and_change_nothing(
    bench: Bench, visit: Visit, username: str
) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    visit.sign_in(username)
    front = visit.get("/bench")
    assert front.status_code == 200
    assert 'action="/bench/sessions"' not in front.text
    assert visit.post("/bench/sessions", tester="HT-1").status_code == 403
    page = visit.get(f"/coupons/{coupon.code}")
    assert page.status_code == 200
    assert "Correct" not in page.text
    for act, fields in {
        "correct": {"reading": "1", "value": "84.6", "reason": "digits swapped", "submission": "x"},
        "void": {"reading": "1", "cause": "wrong coupon measured", "evidence": "wrong mark seen"},
        "void-answer": {"request": "1", "answer": "approve", "reason": "seen it myself"},
        "correction-answer": {"request": "1", "answer": "approve", "reason": "seen it myself"},
        "retest": {"reason": "the panel is dear"},
        "laboratory": {
            "test": "yield_strength|MPa",
            "value": "471",
            "report": "LAB-7",
            "tested_at": "2026-03-02 06:00",
            "submission": "y",
        },
    }.items():
        answer = visit.post(f"/coupons/{coupon.code}/{act}", **fields)
        assert answer.status_code == 403, act


def test_a_tester_that_is_not_in_date_says_why(bench: Bench, visit: Visit) -> None:
    bench.at += timedelta(days=400)
    visit.sign_in("mara")
    assert "not to be used: overdue since 2027-01-10" in visit.get("/bench").text
    answer = visit.post("/bench/sessions", tester="HT-1")
    assert answer.status_code == 422
    assert "HT-1 may not be used" in answer.text


def test_what_is_not_on_record_is_404(bench: Bench, visit: Visit) -> None:
    visit.sign_in("mara")
    for address in ("/bench/sessions/99", "/coupons/C-NONE"):
        assert visit.get(address).status_code == 404
    assert visit.post("/bench/sessions", tester="HT-9").status_code == 404
    assert visit.get("/coupons/%3Cb%3E").status_code == 422


def test_nobody_sees_the_bench_without_signing_in(bench: Bench, visit: Visit) -> None:
    for address in ("/bench", "/bench/sessions/1", "/coupons/C-1"):
        assert visit.get(address).headers["location"].startswith("/sign-in")


def test_the_pages_ask_the_same_number_of_queries_however_many_rows(
    bench: Bench, app: FastAPI, visit: Visit
) -> None:
    asked: list[str] = []
    event.listen(
        app.state.database.engine,
        "before_cursor_execute",
        lambda _c, _k, statement, *_rest: asked.append(statement),
    )

    def count(address: str) -> int:
        asked.clear()
        assert visit.get(address).status_code == 200
        return len(asked)

    address = _opened(visit)
    bench.coupons(10)
    ten = [count("/bench"), count(address)]
    bench.coupons(10)
    assert [count("/bench"), count(address)] == ten
    coupon = bench.coupon()
    number = int(address.rsplit("/", 1)[1])
    bench.read(number, coupon, "85.0", "85.0", "85.0")
    three = count(f"/coupons/{coupon.code}")
    bench.read(number, bench.coupon().code, *["85.0"] * 15)
    assert count(f"/coupons/{coupon.code}") == three


def test_the_large_verdict_is_on_what_was_just_measured(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    visit.sign_in("mara")
    address = _opened(visit)
    entry = visit.get(f"{address}?coupon={coupon.code}")
    saved = visit.follow(visit.post(f"{address}/readings", **_readings(entry.text))).text
    large, whole = saved.split("The coupon as a whole:")
    assert (
        words(large).rstrip().endswith("conforms provisional Provisional until the closing check.")
    )
    assert words(whole).lstrip().startswith("not proven provisional")
