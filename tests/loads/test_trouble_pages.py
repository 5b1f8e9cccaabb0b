"""Lost and doubtful coupons on the pages, from the unwrapping to the release; on both databases.

Panel, coupons and people are invented: six coupons ride, 1 to 3 at the panel's left end, 4 to 6 at
its right, and the cycle asks for four.
"""

import re
from collections.abc import Sequence
from typing import Any

import pytest

from app.bench import queries as bench
from app.database import Database
from app.errors import Refusal
from app.loads.records import Load
from app.loads.trouble_queries import troubles_of_load
from app.panels.records import Coupon, Custody, Panel
from app.requirements.records import RequirementKind
from tests.equipment.test_pages import counted
from tests.makers import CYCLE_PAPER, SHOP_RULES, Shop
from tests.release.evidence_rows import Evidence, case
from tests.visits import PASSWORD, Visit, words

SEARCHED = "Searched in the bag, under the former and on the floor."
REASON = "Seen by me, with the marks and the custody scans."


class Doubtful:
    """A load of six coupons out of the furnace, its record and bag in order."""

    def __init__(self, database: Database, visit: Visit) -> None:
        self.database, self.visit = database, visit
        self.shop = Shop(database)
        self.evidence = Evidence(database, self.shop)
        with database.write() as session:
            self.shop.cycle_revision_id = self.shop._requirement(  # noqa: SLF001 - its own maker
                session,
                "CY-4",
                RequirementKind.CYCLE,
                CYCLE_PAPER,
                SHOP_RULES | {"coupons_per_panel": "4"},
            )
        self.load: Load
        self.panel: Panel
        self.coupons: Sequence[Coupon]
        self.load, self.panel, self.coupons, _ = self.shop.panel_in_load(coupons=6)
        with database.write() as session:
            self.evidence.leak(session, self.load, self.panel)

    def code(self, number: int) -> str:
        """The mark of a coupon, counted from 1."""
        return self.coupons[number - 1].code

    def unwrap(self, **fates: str) -> Any:
        """The unwrapping, with coupons ``c1`` to ``c6`` recovered unless told otherwise."""
        return self.visit.post(
            f"/loads/{self.load.code}/unwrapping",
            panel=self.panel.code,
            bag="intact",
            surface="clear",
            searched=SEARCHED,
            contour_gap="0.4",
            contour_limit="1.0",
            **{
                f"coupon:{self.code(number)}": fates.get(f"c{number}", "recovered")
                for number in range(1, 7)
            },
        )

    def report(self, **fields: str) -> Any:
        """A report about a coupon of the panel."""
        return self.visit.post(
            f"/loads/{self.load.code}/troubles/report",
            **{"panel": self.panel.code, "found": SEARCHED, **fields},
        )

    def key(self, coupon: str) -> int:
        """The number of the last report about a coupon."""
        with self.database.read() as session:
            reports = troubles_of_load(session, self.load.id)
        return [one.id for one in reports if one.about == coupon][-1]

    def answer(self, key: int, outcome: str, **fields: str) -> Any:
        """The supervisor's decision about a report."""
        given = {"reason": REASON, "password": PASSWORD, **fields}
        return self.visit.post(f"/troubles/{key}", outcome=outcome, **given)

    def measure(self, *numbers: int) -> None:
        """Conforming results of coupons, and the furnace record of their load."""
        with self.database.write() as session:
            self.evidence.record(session, self.load)
            self.evidence.measured(session, [self.coupons[number - 1] for number in numbers])

    def said(self, address: str) -> str:
        """The words of a page."""
        answer = self.visit.get(address)
        assert answer.status_code == 200, words(answer.text)
        return words(answer.text).replace("&#39;", "'")


@pytest.fixture
def hall(database: Database, visit: Visit) -> Doubtful:
    return Doubtful(database, visit)


def test_lost_and_doubtful_coupons_from_the_unwrapping_to_the_release(hall: Doubtful) -> None:
    visit, panel = hall.visit, hall.panel
    other_load, other_panel, (shelved, _), _ = hall.shop.panel_in_load()
    with hall.database.write() as session:
        hall.shop.custody(session, shelved, Custody.RECOVERED, Custody.AT_BENCH, Custody.SHELVED)

    # 1. One lies there without a mark, one is not found: the set is incomplete, the panel held.
    visit.sign_in("mara")
    page = visit.follow(hall.unwrap(c1="unmarked", c6="missing"))
    assert f"A coupon found without a mark at the place of {hall.code(1)}" in words(page.text)
    assert f"Coupon {hall.code(6)}: missing" in words(page.text)
    held = hall.said(f"/panels/{panel.code}")
    assert "held" in held
    assert "On hold: Coupon" in held
    # And one carries a mark that is also on a coupon of another load's shelf: both are held.
    answer = hall.report(kind="its mark is on two coupons", coupon=hall.code(3), other=shelved.code)
    assert "is on hold until a supervisor has decided" in words(visit.follow(answer).text)
    assert "Coupon " + shelved.code in hall.said(f"/loads/{other_load.code}")
    assert "held" in hall.said(f"/panels/{other_panel.code}")

    # 2. Supervisors see it; an unmarked one is not named because it is plain which it must be.
    visit.sign_in("ines")
    today = visit.get("/").text
    unmarked, doubled, lost = (hall.key(hall.code(number)) for number in (1, 3, 6))
    for key in (unmarked, doubled, lost):
        assert f'href="/troubles/{key}"' in today
    refused = hall.answer(unmarked, "shown to be this coupon")
    assert refused.status_code == 422
    assert "Nobody can name a coupon without its mark" in words(refused.text)
    assert REASON in refused.text
    assert PASSWORD not in refused.text

    # 3. The doubled one: both custodies side by side, the mark read, named by a second person.
    said = hall.said(f"/troubles/{doubled}")
    assert "Custody of both, side by side" in said
    assert f"Coupon {shelved.code}" in said
    named = visit.follow(hall.answer(doubled, "shown to be this coupon", mark=hall.code(3)))
    assert f"shown to be {hall.code(3)}" in words(named.text)

    # 4. Only a spare of the same end stands in for the one that cannot be named.
    refused = hall.answer(unmarked, "a spare stands in", spare=hall.code(5))
    assert "Only a coupon of the same end can stand in" in words(refused.text)
    options = re.search(r'<select id="f-spare".*?</select>', refused.text, flags=re.DOTALL)
    assert options is not None
    assert hall.code(2) in options[0]
    assert hall.code(5) not in options[0].replace(f'value="{hall.code(5)}"', "")
    replaced = visit.follow(hall.answer(unmarked, "a spare stands in", spare=hall.code(2)))
    assert f"spare {hall.code(2)} stands in" in words(replaced.text)
    visit.follow(hall.answer(lost, "no evidence"))
    with hall.database.read() as session, pytest.raises(Refusal, match="missing"):
        bench.expected_coupon(session, hall.code(6))

    _lifted_and_released(hall)


def _lifted_and_released(hall: Doubtful) -> None:
    """5. The four that are left conform: hold lifted, panel released, and all of it said."""
    visit, panel = hall.visit, hall.panel
    hall.measure(2, 3, 4, 5)
    decision = visit.get(f"/panels/{panel.code}/decision")
    assert f"{hall.code(2)} stands in for {hall.code(1)}" in words(decision.text)
    signed = {"reason": REASON, "password": PASSWORD}
    seen = case(hall.database, panel).seen
    lifted = visit.post(
        f"/panels/{panel.code}/lift", disposition="no departure found", seen=seen, **signed
    )
    assert lifted.status_code == 303, words(lifted.text)
    visit.sign_in("deniz")
    seen = case(hall.database, panel).seen
    released = visit.post(f"/panels/{panel.code}/release", seen=seen, password=PASSWORD)
    assert released.status_code == 303, words(released.text)
    dossier = hall.said(f"/panels/{panel.code}")
    assert "released" in dossier
    assert (
        f"In doubt: Coupon {hall.code(1)}: found without a mark; {hall.code(2)} stands" in dossier
    )
    assert f"In doubt: Coupon {hall.code(6)}: missing; no evidence" in dossier


def test_with_the_spare_lost_too_the_panel_cannot_be_released(hall: Doubtful) -> None:
    hall.visit.sign_in("mara")
    hall.unwrap(c1="missing", c2="missing", c3="missing")
    hall.visit.sign_in("ines")
    for number in (1, 2, 3):
        refused = hall.answer(hall.key(hall.code(number)), "a spare stands in", spare=hall.code(4))
        assert "Only a coupon of the same end can stand in" in words(refused.text)
        hall.answer(hall.key(hall.code(number)), "no evidence")
    hall.measure(4, 5, 6)
    said = hall.said(f"/panels/{hall.panel.code}/decision")
    assert "3 of 4 coupons are evidence" in said
    refused = hall.visit.post(
        f"/panels/{hall.panel.code}/lift",
        disposition="no departure found",
        reason=REASON,
        seen=case(hall.database, hall.panel).seen,
        password=PASSWORD,
    )
    assert refused.status_code == 422
    assert "There is a departure" in words(refused.text)


def test_the_unwrapping_form_asks_where_it_was_searched_and_keeps_what_was_typed(
    hall: Doubtful,
) -> None:
    hall.visit.sign_in("mara")
    form = hall.visit.get(f"/loads/{hall.load.code}/unwrapping")
    assert form.text.count('value="unmarked"') == 6
    answer = hall.visit.post(
        f"/loads/{hall.load.code}/unwrapping",
        panel=hall.panel.code,
        bag="intact",
        surface="clear",
        searched="bag",
        **{f"coupon:{hall.code(number)}": "missing" for number in range(1, 7)},
    )
    assert answer.status_code == 422
    assert "Say where the missing coupons were searched for" in words(answer.text)
    assert "bag</textarea>" in answer.text
    assert "No hold is open." in hall.said(f"/panels/{hall.panel.code}")


def test_a_refused_report_keeps_what_was_typed(hall: Doubtful) -> None:
    hall.visit.sign_in("mara")
    address = f"/loads/{hall.load.code}/troubles/report?panel={hall.panel.code}"
    page = hall.visit.get(f"{address}&coupon={hall.code(2)}")
    assert f'value="{hall.code(2)}" selected' in page.text
    answer = hall.report(kind="missing", coupon=hall.code(2), found="gone")
    assert answer.status_code == 422
    assert "gone</textarea>" in answer.text
    assert f'value="{hall.code(2)}" selected' in answer.text
    assert hall.visit.get("/loads/L-77/troubles/report").status_code == 404
    assert hall.visit.get("/troubles/77").status_code == 404


def test_who_reported_it_and_who_may_not_decide_read_it_only(hall: Doubtful) -> None:
    hall.visit.sign_in("ines")
    hall.report(kind="missing", coupon=hall.code(1))
    key = hall.key(hall.code(1))
    said = hall.said(f"/troubles/{key}")
    assert "You reported this, so another supervisor decides." in said
    assert "Sign and decide" not in said
    assert f"/troubles/{key}" not in hall.visit.get("/").text
    answer = hall.answer(key, "no evidence")
    assert answer.status_code == 403
    assert "another supervisor decides about it" in words(answer.text)
    for username in ("mara", "olek"):
        hall.visit.sign_in(username)
        said = hall.said(f"/troubles/{key}")
        assert "A supervisor other than Ines Valcourt decides." in said
        assert "Sign and decide" not in said
        assert hall.answer(key, "no evidence").status_code == 403
    assert hall.report(kind="missing", coupon=hall.code(2)).status_code == 403
    assert hall.visit.get(f"/loads/{hall.load.code}/troubles/report").status_code == 403


def test_twice_the_reports_need_no_more_queries(hall: Doubtful, app: Any) -> None:
    hall.visit.sign_in("mara")
    hall.report(kind="missing", coupon=hall.code(1))
    pages = (f"/loads/{hall.load.code}", f"/panels/{hall.panel.code}", "/")
    hall.visit.sign_in("ines")
    few = []
    for page in pages:
        with counted(app) as told:
            hall.visit.get(page)
        few.append(len(told))
    hall.visit.sign_in("mara")
    for number in (2, 3):
        hall.report(kind="missing", coupon=hall.code(number))
    hall.visit.sign_in("ines")
    for page, before in zip(pages, few, strict=True):
        with counted(app) as told:
            hall.visit.get(page)
        assert len(told) == before, page
