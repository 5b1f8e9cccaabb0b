"""The page of a coupon, over HTTP as a browser without script would."""

import copy
import re
from decimal import Decimal
from typing import Any

import pytest
from fastapi import FastAPI

from app.bench import pages, service
from app.bench.service import ReadingsTaken
from app.database import Database
from app.errors import Refusal
from app.loads.records import LoadCoupon
from app.panels.records import Coupon, Custody
from app.panels.service import register_coupons
from app.requirements.records import RequirementKind
from tests.bench.bench_makers import ZONE, Bench, vickers_bench
from tests.makers import TABLE_PAPER, bind
from tests.visits import PASSWORD, Visit, words

EVIDENCE = "the print-out says 85.2, kept in binder 4"
PHOTOGRAPH = ("display.png", b"\x89PNG\r\n\x1a\n the display reads 85.2", "image/png")


def _at_work(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Bench:
    for page in (pages.bench, pages.session, pages.checks, pages.entry, pages.coupons):
        monkeypatch.setattr(page, "now", bench.tick)
    return bench


@pytest.fixture
def bench(bench: Bench, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """The bench, with the pages reading the test's own clock."""
    return _at_work(bench, monkeypatch)


def _hidden(html: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', html)
    assert found, name
    return found[1]


def _page(visit: Visit, coupon: Coupon, asked: str = "") -> str:
    answer = visit.get(f"/coupons/{coupon.code}{asked}")
    assert answer.status_code == 200, words(answer.text)
    return answer.text


def _correction(bench: Bench, visit: Visit, coupon: Coupon, **changed: str) -> dict[str, str]:
    reading = next(one for one in bench.readings(coupon) if str(one.value) == "82.5")
    form = _page(visit, coupon, f"?correct={reading.id}")
    return {
        "reading": str(reading.id),
        "submission": _hidden(form, "submission"),
        "value": "85.2",
        "reason": "digits swapped, see print-out",
        **changed,
    }


def test_whoever_took_a_reading_asks_and_a_second_person_approves_on_the_page(
    bench: Bench, visit: Visit
) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    address = f"/coupons/{coupon.code}/correct"
    visit.sign_in("mara")
    typed = _correction(bench, visit, coupon)
    refused = visit.post(address, **typed)
    assert refused.status_code == 422
    assert "needs evidence and a second person" in refused.text
    assert "digits swapped, see print-out" in refused.text
    assert "Ask a second person" in refused.text
    taken = visit.post(address, files={"file": PHOTOGRAPH}, evidence=EVIDENCE, **typed)
    page = visit.follow(taken).text
    assert "The correction waits for a second person" in page
    assert "correction to 85.2 HRB asked by Mara Quill" in page
    assert "waiting for a second person" in page
    assert 'name="answer"' not in page
    assert "<s>82.5" not in page
    visit.sign_in("ines")
    assert f"{coupon.code}" in visit.get("/").text
    assert "asks to correct a reading from 82.5 to 85.2 HRB" in visit.get("/").text
    page = _page(visit, coupon)
    assert "Answer: correct reading 4 from 82.5 to 85.2 HRB?" in page
    file = re.search(r'href="(/report-files/[0-9a-f]{64})"', page)
    assert file
    assert visit.get(file[1]).content == PHOTOGRAPH[1]
    answer = {"request": _hidden(page, "request"), "answer": "approve"}
    address = f"/coupons/{coupon.code}/correction-answer"
    refused = visit.post(address, reason="ok", **answer)
    assert refused.status_code == 422
    assert 'value="approve" checked' in refused.text
    page = visit.follow(visit.post(address, reason="I have seen the print-out", **answer)).text
    assert "<s>82.5 HRB</s>" in page
    assert "replaced by reading 7" in page
    assert f"replaces reading 4: digits swapped, see print-out. Evidence: {EVIDENCE}" in page
    assert "approved by Ines Valcourt: I have seen the print-out" in page
    assert "verdict--conforms" in page.split("Readings")[0]
    assert "asks to correct" not in visit.get("/").text


def test_a_second_person_corrects_directly_with_evidence(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    visit.sign_in("deniz")
    typed = _correction(bench, visit, coupon, evidence=EVIDENCE)
    page = visit.follow(visit.post(f"/coupons/{coupon.code}/correct", **typed)).text
    assert "<s>82.5 HRB</s>" in page
    assert "The correction is recorded" in page


def test_a_harmless_correction_is_one_step(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    visit.sign_in("mara")
    typed = _correction(bench, visit, coupon, value="82.4")
    page = visit.follow(visit.post(f"/coupons/{coupon.code}/correct", **typed)).text
    assert "<s>82.5 HRB</s>" in page
    assert "82.4 HRB" in page


def test_a_void_is_asked_and_answered_on_the_coupons_page(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    reading = bench.readings(coupon)[0]
    visit.sign_in("mara")
    form = _page(visit, coupon, f"?void={reading.id}")
    assert "A low result is not a cause" in form
    causes = re.findall(r'<option value="([^"]+)"', form)
    assert causes
    assert not any("low" in cause for cause in causes)
    typed = {"reading": str(reading.id), "cause": "indenter or probe slipped"}
    address = f"/coupons/{coupon.code}/void"
    refused = visit.post(address, evidence="low", **typed)
    assert refused.status_code == 422
    assert "selected" in refused.text
    refused = visit.post(address, evidence="it is too low", **{**typed, "cause": "low result"})
    assert refused.status_code == 422
    assert "it is too low" in refused.text
    evidence = "drag mark on the print"
    page = visit.follow(
        visit.post(address, files={"file": PHOTOGRAPH}, evidence=evidence, **typed)
    ).text
    assert "waiting for an answer" in page
    assert "file kept as evidence" in page
    assert 'name="answer"' not in page
    visit.sign_in("ines")
    page = _page(visit, coupon)
    request = _hidden(page, "request")
    address = f"/coupons/{coupon.code}/void-answer"
    refused = visit.post(address, request=request, reason="seen it so")
    assert refused.status_code == 422
    assert "seen it so" in refused.text
    page = visit.follow(
        visit.post(address, request=request, answer="approve", reason="I have seen the print")
    ).text
    assert "<s>82.5 HRB</s>" in page
    assert "no: voided: indenter or probe slipped" in page
    assert "approved by Ines Valcourt: I have seen the print" in page
    assert "Earlier verdicts" in page


def test_a_laboratorys_result_is_entered_on_the_coupons_page(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    bench.conductive(coupon, "37.4", "37.5", "37.6")
    visit.sign_in("mara")
    form = visit.get(f"/coupons/{coupon.code}?laboratory=1").text
    assert form.index("yield_strength|MPa") < form.index("tensile_strength|MPa")
    typed = {
        "submission": _hidden(form, "submission"),
        "test": "yield_strength|MPa",
        "value": "471",
        "report": "LAB-7",
        "tested_at": "2026-03-02 07:15",
    }
    refused = visit.post(f"/coupons/{coupon.code}/laboratory", **{**typed, "tested_at": "3/4/26"})
    assert refused.status_code == 422
    assert "is not a time; write it like 2026-03-31 07:15" in refused.text
    assert 'value="LAB-7"' in refused.text
    page = visit.follow(visit.post(f"/coupons/{coupon.code}/laboratory", **typed))
    assert "the coupon conforms" in page.text
    assert "report LAB-7" in page.text


def test_a_retest_is_refused_in_words_where_the_table_permits_none(
    bench: Bench, visit: Visit
) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    visit.sign_in("ines")
    assert "Open the table" not in _page(visit, coupon)
    refused = visit.post(
        f"/coupons/{coupon.code}/retest", reason="the panel is dear to us", password=PASSWORD
    )
    assert refused.status_code == 422
    assert "permits no retest" in refused.text


def test_a_retest_of_sets_is_planned_signed_and_measured(
    database: Database, app: FastAPI, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _at_work(Bench(database, retest={"further": 1, "of": "sets"}), monkeypatch)
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    visit.sign_in("mara")
    assert "Open the table" not in _page(visit, coupon)
    visit.sign_in("ines")
    page = _page(visit, coupon)
    assert "The entry permits 1 further set;" in page
    assert "Repeated: hardness." in page
    assert "I open this retest as it is planned here" in page
    address = f"/coupons/{coupon.code}/retest"
    refused = visit.post(address, reason="as the table permits", password="wrong")
    assert refused.status_code == 422
    assert "the password is not yours" in refused.text
    assert "as the table permits" in refused.text
    taken = visit.post(address, reason="as the table permits", password=PASSWORD)
    page = visit.follow(taken).text
    assert "Plan, fixed when it was opened" in page
    assert "Hardness again on this coupon, 1 further set of readings; it must conform" in page
    assert "Opened by Ines Valcourt" in page
    assert ", signed. Reason: as the table permits" in page
    assert 'action="/coupons/' + coupon.code + '/retest"' not in page
    again = visit.post(address, reason="and once more, please", password=PASSWORD)
    assert again.status_code == 409
    assert "a second is never opened" in again.text
    bench.hard(coupon)
    assert "Retest with 1 further set, 1 tested: all conform" in _page(visit, coupon)


def test_a_further_set_that_fails_is_not_averaged_away(
    database: Database, app: FastAPI, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _at_work(Bench(database, retest={"further": 2, "of": "sets"}), monkeypatch)
    coupon = bench.coupon()
    bench.hard(coupon)
    bench.conductive(coupon, "36.0", "36.0", "36.0")
    bench.retest(coupon)
    for value in ("41.9", "36.8"):  # whose mean, and that of all nine readings, would conform
        bench.conductive(coupon, value, value, value)
    visit.sign_in("mara")
    page = words(_page(visit, coupon))
    assert "Retest with 2 further sets, 2 tested: one of them does not conform" in page
    for mean in ("(36.0 + 36.0 + 36.0) / 3", "(41.9 + 41.9 + 41.9) / 3", "(36.8 + 36.8 + 36.8)"):
        assert mean in page
    assert not re.search(r"36\.8 \+ 41\.9|41\.9 \+ 36\.8|36\.0 \+ 41\.9", page)
    assert bench.now(coupon).verdict == "does_not_conform"


def test_the_order_of_moves_is_shown_and_asked_before_a_retest(
    database: Database, app: FastAPI, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _at_work(Bench(database, retest={"further": 1, "of": "sets"}), monkeypatch)
    coupon = bench.coupon()
    bench.conductive(coupon, "36.0", "36.0", "36.0")
    visit.sign_in("ines")
    page = words(_page(visit, coupon))
    assert "Not yet: Measure the hardness" in page
    assert "Open the retest as planned" not in page
    bench.hard(coupon)
    assert "Open the retest as planned" in words(_page(visit, coupon))


def test_a_coupon_that_has_not_ridden_yet_has_a_page_too(bench: Bench, visit: Visit) -> None:
    with bench.database.write() as session:
        bench.shop.coupon(session, "C-NEW")
    visit.sign_in("mara")
    page = visit.get("/coupons/c-new")
    assert page.status_code == 200
    assert "has not been planned into a load yet" in words(page.text)


def test_every_reading_says_which_checks_stand_about_it(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    visit.sign_in("mara")
    page = words(_page(visit, coupon))
    assert re.search(
        r"after the opening check on RB-HT-1, 2026-03-02 09:02 \w+; "
        r"before the closing check on RB-HT-1, 2026-03-02 09:04",
        page,
    ), page
    number = bench.open("CM-1")
    bench.read(number, coupon, "39.0", "39.0", "39.0")
    assert "no check after it yet" in words(_page(visit, coupon))


def test_readings_lost_to_a_failed_check_use_up_no_retest(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    number = bench.open()
    bench.read(number, coupon, "84.0", "85.0", "85.0")
    bench.check(number, "HT-1", "closing", "87.2", "87.4")
    visit.sign_in("mara")
    assert "That is no retest and uses none up" in words(_page(visit, coupon))


def test_a_line_of_working_stands_once_however_many_findings_need_it(
    bench: Bench, visit: Visit
) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon, "36.0", "36.1", "36.0")
    visit.sign_in("mara")
    verdict = words(_page(visit, coupon).split('id="verdict"')[1].split('id="readings"')[0])
    for line in ("36.1 %IACS as entered", "readings 1 to 3: Standard depth at 60 kHz"):
        assert verdict.count(line) == 1, verdict
    bench.hard(coupon)
    bench.laboratory(coupon, "470")


def test_earlier_verdicts_open_with_their_own_working(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    visit.sign_in("mara")
    earlier = _page(visit, coupon).split('id="earlier"')[1].split('id="trail"')[0]
    assert earlier.count('<details class="earlier">') == len(bench.verdicts(coupon)) - 1
    assert "82.5 HRB as entered" in earlier
    assert "rules 2" in earlier


def _s3(bench: Bench, visit: Visit) -> tuple[Coupon, Coupon, Coupon]:
    """A coupon that fails twice over, with good checks about it, and two unmeasured neighbours."""
    failed, first, second = bench.coupons(3)
    number = bench.open("CM-1")
    bench.read(number, failed, "36.2", "36.3", "36.1")
    bench.check(number, "CM-1", "interim")
    bench.check(number, "CM-1", "closing")
    bench.hard(failed, "81.9", "82.3", "82.0")
    page = words(_page(visit, failed))
    assert "81.9" in page
    assert bench.now(failed).verdict == "does_not_conform"
    assert "was checked again after the readings and reads rightly" in page
    return failed, first, second


def test_a_real_failure_stands_through_a_void_without_evidence_and_a_failed_retest(
    database: Database, app: FastAPI, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    retest = {"further": 2, "of": "coupons", "by_another": True}
    bench = _at_work(Bench(database, retest=retest), monkeypatch)
    visit.sign_in("mara")
    failed, first, second = _s3(bench, visit)
    panel = re.search(r'href="/panels/([^"]+)"', _page(visit, failed))
    assert panel
    assert "held" in words(visit.get(f"/panels/{panel[1]}").text).lower()
    # A new specimen for a poor surface, without anything to show it.
    low = bench.readings(failed)[3]
    refused = visit.post(
        f"/coupons/{failed.code}/void",
        reading=str(low.id),
        cause="surface not prepared",
        evidence="poor",
    )
    assert refused.status_code == 422
    assert "Say what shows the cause in at least 10 characters" in words(refused.text)
    assert bench.now(failed).verdict == "does_not_conform"
    # The retest that the table permits, on both other ends, by another person.
    visit.sign_in("ines")
    page = _page(visit, failed)
    assert "Not measured by Mara Quill: the table asks for another person." in words(page)
    address = f"/coupons/{failed.code}/retest"
    plan: dict[str, Any] = {"reason": "the table permits it once", "password": PASSWORD}
    refused = visit.post(address, positions=first.code, **plan)
    assert refused.status_code == 422
    assert "choose exactly as many" in words(refused.text)
    assert f'value="{first.code}" id="f-retest-positions" checked' in refused.text
    visit.follow(visit.post(address, positions=[first.code, second.code], **plan))
    number = bench.open("HT-1")
    with pytest.raises(Refusal, match="asks for another person"):
        bench.read(number, first, "84.0", "84.0", "84.0")
    bench.check(number, "HT-1", "closing")
    for coupon, values in ((first, ("82.3", "82.5", "82.4")), (second, ("84.5", "84.6", "84.7"))):
        bench.hard(coupon, *values, by=bench.shop.second)
        bench.conductive(coupon, by=bench.shop.second)
    page = words(_page(visit, failed))
    assert "Retest with 2 further coupons, 2 tested: one of them does not conform" in page
    assert bench.now(failed).verdict == "does_not_conform"
    assert bench.now(second).verdict == "conforms"
    for figure in ("81.9 HRB", "82.3 HRB", "36.2 %IACS"):
        assert figure in page  # the first results stay to be seen
    assert "does not conform" in words(visit.get(f"/panels/{panel[1]}").text)


def test_a_late_reading_is_marked_with_both_times(bench: Bench, visit: Visit) -> None:
    coupon = bench.coupon()
    number = bench.open()
    measured = bench.tick()
    for _ in range(30):
        bench.tick()
    bench.read(
        number,
        coupon,
        "84.5",
        "85.0",
        "85.5",
        measured_at=measured,
        late_reason="the alarm of furnace two went off",
    )
    visit.sign_in("mara")
    page = words(_page(visit, coupon))
    assert (
        "2026-03-02 09:03 WET LATE entered 2026-03-02 09:34 WET: the alarm of furnace two went off"
    ) in page


def test_the_baseline_stands_beside_the_results_with_the_difference(
    bench: Bench, visit: Visit
) -> None:
    load, panel, _, _ = bench.shop.panel_in_load(coupons=0)
    with bench.database.write() as session:
        coupon = bench.shop.coupon(session, "C-BASE")
        session.expunge_all()
    number = bench.open()
    taken = ReadingsTaken(
        coupon.code,
        (Decimal("64.0"), Decimal("64.5")),
        bench.form(),
        spacing_confirmed=True,
    )
    service.record_baseline(
        bench.database,
        taken,
        session_id=number,
        by=bench.shop.inspector,
        at=bench.tick(),
        zone=ZONE,
    )
    bench.check(number, "HT-1", "closing")
    with bench.database.write() as session:
        seat = LoadCoupon(
            load_id=load.id,
            panel_id=panel.id,
            coupon_id=coupon.id,
            station="S1",
            x=Decimal("0.5"),
            y=Decimal("0.5"),
        )
        bind(session, seat)
        bench.shop.custody(session, coupon, Custody.PLACED, Custody.RECOVERED)
    bench.hard(coupon)
    visit.sign_in("mara")
    page = words(_page(visit, coupon))
    assert "64.0, 64.5 HRB, mean 64.25" in page
    assert "hardness, HRB 64.25 (mean of 2) 85 (mean of 3) +20.75" in page


def test_a_reading_from_an_indentation_shows_its_sizes_and_is_corrected_by_them(
    database: Database, app: FastAPI, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench, coupon = vickers_bench(database)
    _at_work(bench, monkeypatch)
    visit.sign_in("deniz")
    page = words(_page(visit, coupon))
    assert "from the indentation, 0.343 and 0.349 mm" in page
    low = bench.readings(coupon)[1]
    form = _page(visit, coupon, f"?correct={low.id}")
    typed = {
        "reading": str(low.id),
        "submission": _hidden(form, "submission"),
        "fields": _hidden(form, "fields"),
        "sizes": _hidden(form, "sizes"),
        "size_1_1": "0,333",
        "reason": "the scale was read wrongly",
        "evidence": EVIDENCE,
    }
    address = f"/coupons/{coupon.code}/correct"
    refused = visit.post(address, size_1_2="0.3x", **typed)
    assert refused.status_code == 422
    assert 'value="0.3x"' in refused.text
    page = words(visit.follow(visit.post(address, size_1_2="0.339", **typed)).text)
    assert "from the indentation, 0.333 and 0.339 mm" in page


def test_a_coupon_measured_blind_shows_no_limit_until_its_readings_are_in(
    database: Database, app: FastAPI, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _at_work(Bench(database), monkeypatch)
    paper = {**copy.deepcopy(TABLE_PAPER), "blind": True}
    paper["entries"][0]["criteria"][1] |= {"zones": [], "min": "38.0", "max": "42.0"}
    with database.write() as session:
        bench.shop.table_revision_id = bench.shop._requirement(  # noqa: SLF001 - its own maker
            session, "AT-B", RequirementKind.ACCEPTANCE_TABLE, paper, {}
        )
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    visit.sign_in("mara")
    page = _page(visit, coupon)
    assert "measured blind" in page
    main = page.split("<main", 1)[1]
    for hidden in ("83.0", "invented for the tests", "verdict--does-not-conform", "AT-B"):
        assert hidden not in main, hidden
    bench.conductive(coupon)
    page = _page(visit, coupon)
    assert "below the minimum 83.0 HRB" in page


def test_the_diameter_of_a_round_coupon_stands_among_its_facts(bench: Bench, visit: Visit) -> None:
    register_coupons(
        bench.database,
        lot="LOT-1",
        codes=("C-ROUND",),
        place="tray 3",
        diameter_mm=Decimal("9.5"),
        by=bench.shop.inspector,
        at=bench.tick(),
    )
    visit.sign_in("mara")
    assert "Diameter 9.5 mm" in words(visit.get("/coupons/C-ROUND").text)
    assert "Diameter" not in words(_page(visit, bench.coupon()))
