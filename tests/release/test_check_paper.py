"""A printed dossier's line keyed on the page that tells whether the paper is still right."""

import re
from datetime import timedelta
from html import unescape
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import func, select

from app.audit.records import TrailEntry
from app.database import Database
from app.panels.records import Panel
from app.release import service
from tests.makers import Shop
from tests.release.evidence_rows import LATER, Evidence, case
from tests.visits import PASSWORD, Visit, words

UTC = ZoneInfo("UTC")
AFTER = LATER + timedelta(days=1)


@pytest.fixture
def evidence(database: Database) -> Evidence:
    return Evidence(database, Shop(database))


def _release(evidence: Evidence) -> tuple[Panel, Any]:
    _, panel, coupons = evidence.ready()
    service.release_panel(
        evidence.database,
        panel.code,
        seen=case(evidence.database, panel).seen,
        password=PASSWORD,
        by=evidence.shop.second,
        at=LATER,
        zone=UTC,
    )
    return panel, coupons


def _line(visit: Visit, panel: Panel) -> str:
    """The check line beside the last decision; the sheets' foot has it without the panel."""
    html = visit.get(f"/panels/{panel.code}").text
    found = re.search(r'Check line of this paper <b class="identity">([^<]+)</b>', html)
    assert found
    short = found[1].removeprefix(f"{panel.code}:")
    assert f'check line <span class="print-foot__identity">{short}</span>' in html
    return found[1]


def _asked(visit: Visit, line: str, panel: str = "", status: int = 200) -> str:
    answer = visit.client.get("/check-paper", params={"line": line, "panel": panel})
    assert answer.status_code == status, words(answer.text)
    return unescape(words(answer.text))


def _cannot_be_asked(visit: Visit, panel: Panel, line: str) -> None:
    """What cannot be asked stays typed beside its sentence."""
    html = visit.client.get("/check-paper", params={"line": line[:-2], "panel": ""})
    assert html.status_code == 422
    assert f'value="{line[:-2]}"' in html.text
    assert "14 signs stand at its end where 16 belong" in html.text
    told = _asked(visit, line.replace(panel.code, "NO-SUCH"), status=404)
    assert "No panel NO-SUCH is on record" in told


def test_a_paper_is_told_right_overtaken_or_foreign(evidence: Evidence, visit: Visit) -> None:
    panel, _ = _release(evidence)
    other, coupons = _release(evidence)
    undecided = evidence.ready()[1]
    asked = visit.get("/check-paper")
    assert (asked.status_code, asked.headers["location"][:8]) == (303, "/sign-in")
    visit.sign_in("olek")
    line, shop = _line(visit, panel), evidence.shop
    with shop.database.read() as session:
        before = session.scalar(select(func.max(TrailEntry.number)))

    right = f"This paper is right: {panel.code} was released by Deniz Okoro on "
    assert right in _asked(visit, line)
    assert "nothing was decided or held since." in _asked(
        visit, line.lower().replace("-", " - "), ""
    )
    told = _asked(visit, line.removeprefix(f"{panel.code}:"), panel.code.lower())
    assert right in told
    # With what to hold the paper against, as it was signed.
    assert "I have read the evidence and release this panel" in told
    assert "What the paper must say" in told
    scanned = visit.client.get("/find", params={"q": f" {line} "})
    assert right in unescape(words(visit.follow(scanned).text))
    # One sign altered, another panel's line, a panel nothing was decided on.
    altered = line[:-1] + ("0" if line[-1] != "0" else "1")
    foreign = f"Not a paper of this record: no decision on {panel.code} has this check line."
    told = _asked(visit, altered)
    assert foreign in told
    assert "put the panel on hold, or ask a supervisor" in told
    assert "What the paper must say" not in told
    assert "Not a paper of this record" in _asked(
        visit, _line(visit, other)[len(other.code) + 1 :], panel.code
    )
    nothing = _asked(visit, line.replace(panel.code, undecided.code))
    assert f"nothing has been decided on {undecided.code}" in nothing
    _cannot_be_asked(visit, panel, line)
    with shop.database.read() as session:
        assert session.scalar(select(func.max(TrailEntry.number))) == before

    service.place_hold(
        shop.database, panel.code, reason="A dent at one edge.", by=shop.engineer, at=AFTER
    )
    told = _asked(visit, line)
    assert f"This paper is overtaken: {panel.code} was released by Deniz Okoro" in told
    assert "and since then it was put on hold by" in told
    assert ": A dent at one edge." in told
    assert f"Panel {panel.code} stands now at recalled, to be confirmed" in told
    reason, seen = "Looked at the dent, see report 14.", case(shop.database, panel).seen
    service.close_recalls(
        shop.database,
        [service.Closing(panel.code, True, reason, seen)],  # noqa: FBT003 - that it stands
        password=PASSWORD,
        by=shop.supervisor,
        at=AFTER,
        zone=UTC,
    )
    assert "since then decision 2, release confirmed, was signed by" in _asked(visit, line)
    again = _line(visit, panel)
    assert again != line
    assert f"This paper is right: {panel.code} had its release confirmed" in _asked(visit, again)
    service.mark_anew(
        shop.database,
        panel.code,
        "NEW-1",
        reason="The old mark was worn off.",
        password=PASSWORD,
        by=shop.second,
        at=AFTER,
        zone=UTC,
    )
    assert "since then it was replaced by NEW-1, signed by" in _asked(visit, again)
    # Evidence that was changed: the signature has fallen, and so has the paper.
    line = _line(visit, other)
    with shop.database.write() as session:
        evidence.verdict(session, coupons[0], "does_not_conform", text="Hardness 80.1 HRB.")
    told = _asked(visit, line)
    assert "and since then the evidence was changed, so that its signature has fallen." in told
    assert re.search(r"Changed since it was signed, namely: .*Now: .*Hardness 80.1 HRB\.", told)
