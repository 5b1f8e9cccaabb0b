"""The pages of a nonconformance, walked by the people whose acts they are."""

from datetime import date

import pytest

from app.database import Database
from app.release.rules.facts import DecisionKind
from tests.loads.pictures import picture
from tests.release.nonconformance_makers import approved
from tests.release.test_nonconformances import Review
from tests.visits import PASSWORD, Visit, words

AT = "/nonconformances/N-2026-0001"
LETTER = ("letter.pdf", b"%PDF-1.7 a letter, invented", "application/pdf")


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """The pages' walk asks nothing of a database that the services' tests do not."""
    return sqlite_url


@pytest.fixture
def review(database: Database) -> Review:
    return Review(database)


def test_a_review_from_the_open_form_to_the_scrap_yard(review: Review, visit: Visit) -> None:
    panel = review.failed()
    held = f"/panels/{panel.code}"
    visit.sign_in("mara")
    form = words(visit.get(f"{held}/nonconformance").text)
    assert "Soak 18:02, 24:00 asked for." in form, "filled in from the gates that fail"
    assert "limit 83.0 HRB, invented for the tests." in form
    texts = {"description": "Soak too short.", "requirement": "24 h.", "containment": ""}
    refused = visit.post(f"{held}/nonconformance", **texts)
    assert refused.status_code == 422
    assert "Soak too short.</textarea>" in refused.text
    opened = visit.post(f"{held}/nonconformance", **(texts | {"containment": "Kept apart."}))
    at = opened.headers["location"]
    page = words(visit.follow(opened).text)
    for told in ("Soak too short.", "Kept apart.", "Nothing has been proposed yet", "Furnace rec"):
        assert told in page
    assert "Answer proposal" not in page
    assert visit.get(f"/find?q={at.rpartition('/')[2]}").headers["location"] == at

    visit.sign_in("tomas")
    scrap = {"disposition": "scrap", "reason": "It cannot be aged again."}
    refused = visit.post(f"{at}/proposals", **(scrap | {"reason": "no"}))
    assert refused.status_code == 422
    assert ">\nno</textarea>" in refused.text
    page = visit.follow(visit.post(f"{at}/proposals", **scrap)).text
    assert "Nobody has approved it for supervision" in words(page)
    seen = page.split('name="seen" value="')[1].split('"')[0]
    given = {"seen": seen, "capacity": "quality", "approves": "yes", "password": PASSWORD}
    wrong = visit.post(f"{at}/answers", **(given | {"password": "not it"}))
    assert wrong.status_code in {403, 422}
    assert "not it" not in wrong.text
    page = words(visit.follow(visit.post(f"{at}/answers", **given)).text)
    assert "Approved for quality" in page
    assert "Answer proposal" not in page, "nobody answers twice"
    visit.sign_in("ibo")
    letter = given | {"capacity": "supervision", "document": "Report 12", "remark": "Agreed."}
    answered = visit.post(f"{at}/answers", files={"file": LETTER}, **letter)
    page = words(visit.follow(answered).text)
    assert "Every answer it needs is there." in page
    assert "Rests on Report 12, the file" in page
    assert "waits for a supervisor, to carry out scrap" in words(visit.get("/nonconformances").text)

    _carried_out(visit, held, at)
    _made_unusable(visit, held)


def _carried_out(visit: Visit, held: str, at: str) -> None:
    """A supervisor carries out what was approved, and the panel says so ever after."""
    visit.sign_in("ines")
    assert at in visit.get(f"{held}/decision").text
    lift = {"disposition": "scrap", "reason": "Carried out as approved.", "password": PASSWORD}
    lift["seen"] = visit.get(f"{held}/decision").text.split('name="seen" value="')[1].split('"')[0]
    dossier = words(visit.follow(visit.post(f"{held}/lift", **lift)).text)
    assert "SCRAP under N-" in dossier
    assert "not conforming in: Furnace record." in dossier
    assert "Carried out: scrap" in words(visit.get(at).text)


def _made_unusable(visit: Visit, held: str) -> None:
    """One person marks and cuts it, another one sees it."""
    visit.sign_in("mara")
    assert "Scrap that is not yet certainly unusable" in words(visit.get("/nonconformances").text)
    done = {"marking": "SCRAP, both faces", "made_unusable": "Cut in two", "password": PASSWORD}
    photo = {"file": ("mark.jpg", picture(), "image/jpeg")}
    no_picture = {"file": ("mark.jpg", b"%PDF-1.7", "image/jpeg")}
    assert visit.post(f"{held}/scrap", files=no_picture, **done).status_code == 422
    page = words(visit.follow(visit.post(f"{held}/scrap", files=photo, **done)).text)
    assert "It waits for a second person" in page
    assert visit.post(f"{held}/scrap/witness", password=PASSWORD).status_code == 403
    visit.sign_in("deniz")
    page = words(visit.follow(visit.post(f"{held}/scrap/witness", password=PASSWORD)).text)
    assert "I saw that this panel is marked and unusable" in page
    assert "Scrap that is not yet" not in words(visit.get("/nonconformances").text)


def test_an_action_and_a_notice_from_the_page(review: Review, visit: Visit) -> None:
    panel = review.failed()
    code = approved(review.database, panel, DecisionKind.USE_AS_IS)
    at = f"/nonconformances/{code}"
    visit.sign_in("tomas")
    action = {"cause": "Wrong column.", "action": "Mend it.", "owner": "tomas"}
    refused = visit.post(f"{at}/actions", due_on="soon", **action)
    assert refused.status_code == 422
    assert "Mend it.</textarea>" in refused.text
    page = visit.follow(visit.post(f"{at}/actions", due_on=date.max.isoformat(), **action)).text
    assert "Sign what it achieved" not in page, "who owns it does not check it"
    visit.sign_in("ibo")
    check = {"effective": "yes", "found": "Ten runs read rightly.", "password": PASSWORD}
    assert "Sign what it achieved" in visit.get(at).text
    page = words(visit.follow(visit.post(f"{at}/actions/1/check", **check)).text)
    assert "Effective: Ten runs read rightly." in page

    draft = words(visit.get(f"{at}/notice").text)
    assert "This program sends nothing." in draft
    assert "Soak 18:02, 24:00 asked for. 85.0 83.0 HRB" in draft
    refused = visit.post(f"{at}/notice", wish="Hold it.", contact="")
    assert "Hold it.</textarea>" in refused.text
    kept = words(visit.follow(visit.post(f"{at}/notice", wish="Hold it.", contact="T. B.")).text)
    assert "SHA-256" in kept
    assert "T. B." in kept
    visit.sign_in("olek")
    assert visit.get(f"{at}/notice").status_code == 403
    assert visit.get(at).status_code == 200
    assert visit.get(f"/panels/{panel.code}/nonconformance").status_code == 403
    assert visit.get("/nonconformances/N-1999-0001").status_code == 404
