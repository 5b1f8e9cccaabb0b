"""The scan and the form of a coupon, over HTTP: as a browser without script, and as the script."""

import re
from typing import Any

import pytest
from fastapi import FastAPI

from app.bench import pages
from tests.bench.bench_makers import Bench
from tests.bench.table_papers import vickers, with_table
from tests.visits import Visit, without_secrets, words

JSON = {"Accept": "application/json"}
LIMITS = ("83.0", "36.9", "37.0", "37.9", "38.0", "42.0", "42.1", "480")
"""Of the invented table, besides 3.0, which is also the error permitted on a block."""


@pytest.fixture
def bench(bench: Bench, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The bench, with the pages reading the test's own clock."""
    for page in (pages.bench, pages.session, pages.checks, pages.entry, pages.coupons):
        monkeypatch.setattr(page, "now", bench.tick)
    return bench


def _field(html: str, name: str) -> str:
    found = re.search(rf'name="{name}"[^>]*?value="([^"]*)"', html)
    assert found, name
    return found[1]


def _typed(visit: Visit, number: int, coupon: str, **changed: str) -> dict[str, str]:
    """The form of a coupon as the page shows it, filled."""
    html = visit.get(f"/bench/sessions/{number}?coupon={coupon}").text
    given = {
        "coupon": coupon,
        "submission": _field(html, "submission"),
        "seen": _field(html, "seen"),
        "fields": "3",
        "spacing_confirmed": "yes",
        "reading_1": "84.5",
        "reading_2": "85.0",
        "reading_3": "85.5",
    }
    return given | changed


def _sent(visit: Visit, address: str, **fields: str) -> Any:
    """A form as the script sends it."""
    return visit.client.post(address, data={"csrf": visit.csrf(), **fields}, headers=JSON)


def test_a_scan_leads_to_the_coupons_form_whatever_the_scanner_adds(
    bench: Bench, visit: Visit
) -> None:
    coupon, number = bench.coupon(), bench.open()
    visit.sign_in("mara")
    for typed in (coupon.code, f" {coupon.code.lower()} ", f"]C1{coupon.code}", f"{coupon.code}\t"):
        answer = visit.client.get(f"/bench/sessions/{number}/scan", params={"coupon": typed})
        assert answer.headers["location"] == f"/bench/sessions/{number}?coupon={coupon.code}"
    told = visit.client.get(
        f"/bench/sessions/{number}/scan", params={"coupon": coupon.code}, headers=JSON
    )
    assert told.json() == {"go": f"/bench/sessions/{number}?coupon={coupon.code}"}


def test_a_scan_that_fits_nothing_is_refused_in_a_sentence_either_way(
    bench: Bench, visit: Visit
) -> None:
    number = bench.open()
    visit.sign_in("mara")
    page = visit.get(f"/bench/sessions/{number}/scan?coupon=p-9")
    assert page.status_code == 404
    assert 'role="alert"' in page.text
    assert "No coupon P-9 is on record" in page.text
    told = visit.client.get(f"/bench/sessions/{number}/scan?coupon=p-9", headers=JSON)
    assert told.status_code == 404
    assert told.json()["sentence"].startswith("No coupon P-9 is on record")
    assert "cannot be an identity" in visit.get(f"/bench/sessions/{number}/scan?coupon=").text


def test_a_scan_in_somebody_elses_or_an_ended_session_is_refused(
    bench: Bench, visit: Visit
) -> None:
    coupon, number = bench.coupon(), bench.open()
    visit.sign_in("deniz")
    answer = visit.get(f"/bench/sessions/{number}/scan?coupon={coupon.code}")
    assert answer.status_code == 403
    assert "Mara Quill takes the readings in this session" in answer.text
    bench.check(number, "HT-1", "closing")
    visit.sign_in("mara")
    answer = visit.get(f"/bench/sessions/{number}/scan?coupon={coupon.code}")
    assert answer.status_code == 422
    assert "takes no readings now: it is closed" in answer.text


def test_a_coupon_with_its_hardness_is_led_on_to_its_conductivity(
    bench: Bench, visit: Visit
) -> None:
    coupon, number = bench.coupon(), bench.open()
    other = bench.open("CM-1")
    bench.read(number, coupon, "85.0", "85.0", "85.0")
    visit.sign_in("mara")
    answer = visit.get(f"/bench/sessions/{number}/scan?coupon={coupon.code}")
    page = visit.follow(answer)
    assert answer.headers["location"].startswith(f"/bench/sessions/{other}?coupon={coupon.code}")
    assert "this is your session at CM-1, for its conductivity" in words(page.text)
    # With the block's temperature of the check, and none of a coupon yet.
    assert _field(page.text, "coupon_c") == ""
    bench.read(other, coupon, "39.0", "39.0", "39.0")
    refused = visit.get(f"/bench/sessions/{number}/scan?coupon={coupon.code}")
    assert "more would not decide anything" in refused.text


def test_the_temperatures_last_given_stand_there_to_be_confirmed(
    bench: Bench, visit: Visit
) -> None:
    first, second = bench.coupons(2)
    number = bench.open("CM-1")
    bench.read(number, first, "39.0", "39.0", "39.0")
    visit.sign_in("mara")
    page = visit.get(f"/bench/sessions/{number}?coupon={second.code}").text
    assert (_field(page, "coupon_c"), _field(page, "block_c")) == ("21.0", "20.5")


def test_the_script_is_told_only_after_the_commit_and_the_same_twice(
    bench: Bench, visit: Visit
) -> None:
    coupon, number = bench.coupon(), bench.open()
    visit.sign_in("mara")
    typed = _typed(visit, number, coupon.code)
    address = f"/bench/sessions/{number}/readings"
    told = _sent(visit, address, **typed)
    assert told.json() == {
        "go": f"/bench/sessions/{number}?saved={coupon.code}",
        "heard": "conforms",
    }
    assert _sent(visit, address, **typed).json() == told.json()
    assert len(bench.readings(coupon)) == 3
    other = _sent(visit, address, **{**typed, "reading_3": "85.6"})
    assert other.status_code == 409
    assert "with other figures" in other.json()["sentence"]


def test_the_script_is_told_why_nothing_was_recorded(bench: Bench, visit: Visit) -> None:
    coupon, number = bench.coupon(), bench.open()
    visit.sign_in("mara")
    typed = _typed(visit, number, coupon.code, reading_2="8.52")
    told = _sent(visit, f"/bench/sessions/{number}/readings", **typed)
    assert told.status_code == 422
    assert told.json()["fields"] == {"reading_2": "8.52 HRB cannot be: did you mean 85.2?"}
    visit.client.cookies.clear()
    unknown = visit.client.post(
        f"/bench/sessions/{number}/readings", data={"csrf": "x"}, headers=JSON
    )
    assert unknown.status_code == 303
    assert unknown.headers["location"].startswith("/sign-in")


def test_what_is_keyed_is_judged_and_kept_field_by_field_and_comes_back(
    bench: Bench, visit: Visit
) -> None:
    coupon, number = bench.coupon(), bench.open()
    visit.sign_in("mara")
    typed = _typed(visit, number, coupon.code, reading_2="8.52", reading_3="58.2")
    told = _sent(visit, f"/bench/sessions/{number}/draft", **typed).json()
    assert told["kept"] is True
    assert told["wrong"] == {"reading_2": "8.52 HRB cannot be: did you mean 85.2?"}
    assert told["odd"] == {"reading_3": "58.2 HRB is unusual here: read the tester again."}
    assert told["room"].startswith("For 58.2 HRB: At least ")
    assert "Keyed and not recorded" in visit.get(f"/bench/sessions/{number}").text
    page = visit.get(f"/bench/sessions/{number}?coupon={coupon.code}").text
    assert "Nothing of it is recorded yet" in page
    assert [_field(page, f"reading_{n}") for n in (1, 2, 3)] == ["84.5", "8.52", "58.2"]
    assert _field(page, "submission") == typed["submission"]
    assert "checked" not in page, "a tick is made again"
    unreadable = _sent(visit, f"/bench/sessions/{number}/draft", **{**typed, "reading_1": "8e1"})
    assert "is not a number" in unreadable.json()["wrong"]["reading_1"]
    assert bench.readings(coupon) == []


def test_a_draft_is_refused_to_anybody_else(bench: Bench, visit: Visit) -> None:
    coupon, number = bench.coupon(), bench.open()
    visit.sign_in("mara")
    typed = _typed(visit, number, coupon.code)
    visit.sign_in("deniz")
    assert _sent(visit, f"/bench/sessions/{number}/draft", **typed).status_code == 403
    visit.sign_in("olek")
    assert _sent(visit, f"/bench/sessions/{number}/draft", **typed).status_code == 403


def test_a_late_entry_is_opened_refused_and_kept_typed_without_script(
    bench: Bench, visit: Visit
) -> None:
    coupon, number = bench.coupon(), bench.open()
    measured = bench.tick().strftime("%Y-%m-%dT%H:%M:%S")
    visit.sign_in("mara")
    typed = _typed(visit, number, coupon.code, measured_at=measured, late_reason="late")
    address = f"/bench/sessions/{number}/readings"
    refused = visit.post(address, **typed)
    assert refused.status_code == 422
    assert "at least 10 characters why it is entered only now" in refused.text
    assert re.search(r"<details open>\s*<summary>Measured earlier", refused.text)
    assert f'value="{measured}"' in refused.text
    visit.follow(visit.post(address, **{**typed, "late_reason": "the network was down"}))
    assert {one.late_reason for one in bench.readings(coupon)} == {"the network was down"}


def test_sizes_are_keyed_without_script(bench: Bench, visit: Visit) -> None:
    coupon, number = bench.coupon(), vickers(bench)
    visit.sign_in("mara")
    page = visit.get(f"/bench/sessions/{number}?coupon={coupon.code}&sizes=1").text
    assert 'name="size_1_2"' in page
    assert 'name="reading_1"' not in page
    typed = {
        "coupon": coupon.code,
        "submission": _field(page, "submission"),
        "fields": "1",
        "sizes": "1",
        "spacing_confirmed": "yes",
        "size_1_1": "0,394",
        "size_1_2": "",
    }
    address = f"/bench/sessions/{number}/readings"
    missing = visit.post(address, **typed)
    assert "Indentation 1, size 2 is missing" in missing.text
    assert 'value="0,394"' in missing.text
    asked = visit.post(address, **{**typed, "size_1_2": "0.396"})
    assert "The table asks for no hardness in HV10" in asked.text
    found = re.search(r'name="confirmed" value="([^"]*)"', asked.text)
    assert found
    visit.follow(visit.post(address, **{**typed, "size_1_2": "0.396", "confirmed": found[1]}))
    assert [str(one.value) for one in bench.readings(coupon)] == ["118.9"]


def test_a_blind_tables_limits_are_nowhere_until_the_readings_are_in(
    bench: Bench, visit: Visit
) -> None:
    with_table(bench, blind=True)
    coupon, number, other = bench.coupon(), bench.open(), bench.open("CM-1")
    visit.sign_in("mara")

    def shown(address: str) -> str:
        html: str = without_secrets(visit.get(address).text)
        for limit in LIMITS:
            assert limit not in html, limit
        return html

    def is_coloured(html: str) -> bool:
        # The checks' own outcomes stay; they are of the blocks.
        return (
            "verdict" in html.partition("Last recorded")[2].partition("Checks of this session")[0]
        )

    entry = shown(f"/bench/sessions/{number}?coupon={coupon.code}")
    typed = _typed(visit, number, coupon.code)
    odd = _sent(visit, f"/bench/sessions/{number}/draft", **{**typed, "reading_1": "61.0"}).text
    cannot = _sent(visit, f"/bench/sessions/{number}/draft", **{**typed, "reading_1": "8.3"}).text
    assert not any(limit in odd + cannot for limit in LIMITS if limit != "83.0")
    assert not is_coloured(entry)
    told = _sent(visit, f"/bench/sessions/{number}/readings", **typed).json()
    assert told["heard"] == "recorded"
    saved = shown(told["go"])
    assert "Measured blind: its verdict is shown once all its readings are in" in words(saved)
    assert not is_coloured(saved)
    assert "verdict--bench" not in saved
    shown(f"/bench/sessions/{other}?coupon={coupon.code}")
    bench.read(other, coupon, "39.0", "39.0", "39.0")
    assert "verdict--bench" in visit.get(f"/bench/sessions/{other}?saved={coupon.code}").text
