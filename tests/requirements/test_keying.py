"""The second keying, and drafts that are written again: services and pages."""

import json
import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.audit.actor import Actor
from app.bench.queries import evidence
from app.database import Database
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.people.records import Meaning, Signature
from app.requirements import queries, service
from app.requirements.forms.procedure_again import typed_procedure
from app.requirements.queries import Revision, RevisionState
from app.requirements.records import RequirementKind, SecondKeying
from app.requirements.rules import values
from app.requirements.service import Named
from tests.makers import CYCLE_PAPER, NOW, TABLE_PAPER, Shop
from tests.requirements.papers import KEYED_AT, keyed, keyed_if_asked, procedure, written
from tests.visits import PASSWORD, Visit, without_secrets, words

B = Named(RequirementKind.ACCEPTANCE_TABLE, "AT-1", "B")
LATER = NOW + timedelta(hours=1)
MINIMUM = "entry_1__hardness_hrb__minimum"
BECAUSE = "the least hardness was transposed"


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """One kind: the tests beside this one verify on both, and every verification is keyed."""
    return sqlite_url


@pytest.fixture
def shop(database: Database) -> Shop:
    return Shop(database)


def _table(shop: Shop, *, minimum: str = "83.0", **changed: Any) -> Named:
    paper = json.loads(json.dumps({**TABLE_PAPER, "revision": changed.pop("revision", "B")}))
    paper["entries"][0]["criteria"][0]["min"] = minimum
    given: dict[str, Any] = {
        "code": "AT-1",
        "paper": json.dumps(paper),
        "filename": "AT-1.json",
        "source_document": "invented document, issue 2",
        "by": shop.engineer,
        "at": NOW,
        **changed,
    }
    return service.write_table(shop.database, **given)


def _verify(shop: Shop, named: Named = B, **changed: Any) -> None:
    given: dict[str, Any] = {
        "compared": [one.anchor for one in queries.parts_of(written(shop.database, named))],
        "in_force_from": None,
        "password": PASSWORD,
        "by": shop.supervisor,
        "at": LATER,
        **changed,
    }
    service.verify(shop.database, named, **given)


def _key(shop: Shop, cells: dict[str, str], by: Actor, **changed: Any) -> Any:
    given = {"password": PASSWORD, "by": by, "at": KEYED_AT, **changed}
    return service.key_again(shop.database, B, cells=cells, **given)


def _found(shop: Shop, code: str = "AT-1") -> list[Revision]:
    with shop.database.read() as session:
        return queries.revisions(session, code=code)


def test_a_transposed_figure_is_caught_before_it_judges_anything(shop: Shop) -> None:
    database = shop.database
    # The document says 37.5; the writer's fingers said 35.7.
    _table(shop, minimum="35.7")
    with pytest.raises(Refusal, match="Nobody has keyed the values of AT-1 revision B"):
        _verify(shop)
    found = keyed(database, B, shop.second, **{MINIMUM: "37.5"})
    assert [(one.first, one.second) for one in found] == [("35.7", "37.5")]
    with pytest.raises(Refusal, match="differs in 1 of its values: Entry 1, hardness HRB, minimum"):
        _verify(shop)
    assert _table(shop, minimum="37.5", again=BECAUSE) == B
    with pytest.raises(Refusal, match="Nobody has keyed"):
        _verify(shop, attempt=2)
    assert keyed(database, B, shop.second, **{MINIMUM: "37,5"}) == ()
    _verify(shop, attempt=2)
    stands = written(database, B)
    assert stands.in_force(LATER)
    assert stands.paper["entries"][0]["criteria"][0]["min"] == "37.5"
    with database.read() as session:
        meanings = session.scalars(select(Signature.meaning).order_by(Signature.id.desc())).all()
    assert meanings[:3] == [Meaning.VERIFIED_TABLE, Meaning.KEYED_AGAIN, Meaning.KEYED_AGAIN]


def test_a_second_look_keys_only_what_differed_and_is_marked(shop: Shop) -> None:
    _table(shop)
    every = values(service.asked_of(written(shop.database, B)))
    keyed(shop.database, B, shop.second, **{MINIMUM: "38.0"})
    place = "Entry 1, hardness HRB, minimum"
    assert list(values(service.asked_of(written(shop.database, B)))) == [place]
    # What is not asked for any more is not taken, whatever is sent of it.
    _key(shop, {place: "83.0", "Entry 1, alloy": "other"}, shop.inspector)
    with shop.database.read() as session:
        first, second = queries.keyings(session, written(shop.database, B).id)
        meaning = session.get_one(Signature, second.signature_id).meaning
    assert first.differences == [[place, "83.0", "38.0"]]
    assert first.cells == {**every, place: "38.0"}
    assert second.cells == every
    assert second.differences == []
    assert meaning is Meaning.LOOKED_AGAIN
    with pytest.raises(Conflict, match="keyed AT-1 revision B already, and every value agrees"):
        _key(shop, {place: "83.0"}, shop.inspector)
    _verify(shop)


def test_who_may_key_and_what_is_asked_for(shop: Shop) -> None:
    _table(shop)
    every = values(service.asked_of(written(shop.database, B)))
    other_account = replace(shop.second, also=frozenset({shop.engineer.id}))
    for by in (shop.engineer, other_account):
        with pytest.raises(NotAllowed, match="You wrote AT-1 revision B; another person"):
            _key(shop, every, by)
    for by in (shop.auditor, shop.administrator):
        with pytest.raises(NotAllowed, match="Only an inspector, supervisor or engineer may"):
            _key(shop, every, by)
    with pytest.raises(Refusal, match="values were not sent, the first of them"):
        _key(shop, {"Entry 1, alloy": "Q-77"}, shop.second)
    with pytest.raises(Refusal, match="Nothing is keyed yet"):
        _key(shop, dict.fromkeys(every, " "), shop.second)
    with pytest.raises(Refusal, match="up to 200 characters"):
        _key(shop, {**every, "Entry 1, alloy": "x" * 201}, shop.second)
    with pytest.raises(Refusal, match="signature was not made"):
        _key(shop, every, shop.second, password="not this one")
    with pytest.raises(Conflict, match="was written again; attempt 1 stands"):
        _key(shop, every, shop.second, attempt=2)
    with shop.database.read() as session:
        assert session.scalars(select(SecondKeying)).all() == []
        (draft,) = queries.drafts(session)
    assert (draft.revision, draft.wants_keying) == ("B", True)
    # The verifier may be the one who keyed, never the one who wrote.
    assert _key(shop, every, shop.supervisor) == ()
    _verify(shop)
    with pytest.raises(Conflict, match="verified already"):
        _key(shop, every, shop.second)


def test_only_a_draft_is_written_again_and_only_with_a_reason(shop: Shop) -> None:
    _table(shop)
    with pytest.raises(Conflict, match=r"a draft\. Say why it is written again") as refused:
        _table(shop)
    assert list(refused.value.fields) == ["again"]
    with pytest.raises(Refusal, match="at least 10 characters"):
        _table(shop, again="wrong")
    with pytest.raises(Refusal, match="no revision C that could be written again"):
        _table(shop, revision="C", again=BECAUSE)
    _table(shop, again=BECAUSE)
    keyed(shop.database, B, shop.second)
    with pytest.raises(Conflict, match="was written again; attempt 2 stands"):
        _verify(shop, attempt=1)
    _verify(shop, attempt=2)
    with pytest.raises(Conflict, match="what was verified is never changed"):
        _table(shop, again=BECAUSE)
    _table(shop, revision="C")
    reason = "another document was meant"
    service.withdraw(
        shop.database, replace(B, revision="C"), reason=reason, by=shop.engineer, at=LATER
    )
    with pytest.raises(Conflict, match="what was withdrawn is never changed"):
        _table(shop, revision="C", again=BECAUSE)


def test_no_way_that_judges_leads_to_an_earlier_attempt(shop: Shop) -> None:
    _table(shop, minimum="35.7")
    _table(shop, revision="C")
    _table(shop, minimum="37.5", again=BECAUSE)
    with shop.database.read() as session:
        old, stands = queries.attempts(session, "AT-1", "B")
        unverified = [one.revision for one in queries.drafts(session)]
    assert (old.attempt, stands.attempt) == (1, 2)
    assert (old.again_because, stands.again_because) == (None, BECAUSE)
    found = _found(shop)
    # At the place of its first attempt: what was written after it is the newer one.
    assert [(one.revision, one.attempt) for one in found] == [("A", 1), ("B", 2), ("C", 1)]
    assert sorted(unverified) == ["B", "C"]
    assert queries.previous(found, stands) == found[0]
    assert written(shop.database, B) == stands
    keyed(shop.database, B, shop.second)
    _verify(shop, attempt=2)
    with shop.database.read() as session:
        again = queries.revision(session, old.id)
        assert not any(one.id == old.id for one in queries.revisions(session))
    # Nothing is judged by what is not in force, and of a name only the last attempt can be.
    assert again.verified_by_id is None
    assert not again.in_force(LATER + timedelta(days=999))
    assert queries.shown_first(_found(shop), LATER).id == stands.id


def test_corrections_in_force_are_read_from_verified_attempts_only(shop: Shop) -> None:
    paper = {
        "name": "Thin",
        "revision": "A",
        "quantity": "hardness",
        "scale": "HRB",
        "reason": "clad",
        "readings": ["60", "70"],
        "additions": [["3.5"], ["3.0"]],
        "source": "invented",
        "obtained": "invented",
    }
    named = Named(RequirementKind.CORRECTION_TABLE, "CC-9", "A")
    for again, added in ((None, "5.3"), ("figure transposed", "3.5")):
        service.write_correction_table(
            shop.database,
            code="CC-9",
            paper=json.dumps({**paper, "additions": [[added], ["3.0"]]}),
            filename="x",
            source_document="invented",
            by=shop.engineer,
            at=NOW,
            again=again,
        )
    keyed(shop.database, named, shop.second)
    _verify(shop, named, attempt=2)
    with shop.database.read() as session:
        one, *more = evidence._corrections(session, ["CC-9"])["cc-9"]  # noqa: SLF001
    assert more == []
    assert str(one.table.additions[0][0]) == "3.5"


def test_where_a_revision_stands(shop: Shop) -> None:
    _table(shop)
    keyed_if_asked(shop.database, B)
    _verify(shop, in_force_from=LATER + timedelta(days=1))
    first, second = _found(shop)
    before, after = LATER + timedelta(hours=1), LATER + timedelta(days=1)

    def states(at: Any) -> list[RevisionState]:
        return [queries.state_of(one, at, [first, second]) for one in (first, second)]

    assert states(before) == [RevisionState.IN_FORCE, RevisionState.COMING]
    assert states(after) == [RevisionState.SUPERSEDED, RevisionState.IN_FORCE]
    assert queries.superseded_by(first, after, [first, second]) == second
    with pytest.raises(NotFound):
        written(shop.database, replace(B, revision="Z"))


def _fields(html: str) -> dict[str, str]:
    """The fields of the keying form as a browser would send them, nothing typed."""
    found = re.findall(r'(?:input|select) id="[^"]*" name="(cell-[^"]+)"', html)
    return dict.fromkeys(found, "")


def _text(answer: Any) -> str:
    return words(answer.text).replace("&#39;", "'")


def test_the_page_of_the_second_keying_holds_no_value(shop: Shop, visit: Visit) -> None:
    database = shop.database
    minimum = "35.7"
    _table(shop, minimum=minimum)
    visit.sign_in("deniz")
    about = visit.get("/tables/AT-1?revision=B")
    page = visit.get("/tables/AT-1/keying?revision=B")
    figures = ("35.7", "40.0", "36.9", "37.9", "42.1", "480")
    for figure in figures:
        assert figure not in without_secrets(page.text), figure
        assert figure not in without_secrets(about.text), f"{figure} on the page of the draft"
    main = about.text.split('<main class="sheet"')[1]
    assert "Q-77" not in page.text
    assert "Q-77" not in main
    assert "Whoever has seen the values cannot key them blind: they are shown to Tomas" in _text(
        about
    )
    assert "Take away this revision" not in main

    fields = _fields(page.text)
    every = values(service.asked_of(written(database, B)))
    assert len(fields) == len(every)
    sent = dict(zip(fields, every.values(), strict=True))
    name = "cell-entry-1--hardness-hrb--minimum"
    sent |= {name: "37.5", "revision": "B", "attempt": "1"}
    refused = visit.post("/tables/AT-1/keying", **sent, password="not this one")
    assert refused.status_code == 422
    assert f'name="{name}" type="text" value="37.5"' in refused.text
    # What was typed is there; what was entered first is not.
    assert minimum not in refused.text
    page = _text(visit.follow(visit.post("/tables/AT-1/keying", **sent, password=PASSWORD)))
    assert "1 value not the same as in the first entry" in page
    assert "Entry 1, hardness HRB, minimum 35.7 37.5 the same signs in another order" in page
    assert "draft, keyed again, not the same in 1 value" in page
    again = visit.get("/tables/AT-1/keying?revision=B")
    assert list(_fields(again.text)) == [name]
    assert minimum not in again.text
    visit.sign_in("ines")
    assert 'name="compared"' not in visit.get("/tables/AT-1?revision=B").text
    visit.sign_in("tomas")
    assert visit.get("/tables/AT-1/keying?revision=B").status_code == 403


def test_a_draft_is_written_again_from_its_page_and_both_can_be_read(
    shop: Shop, visit: Visit
) -> None:
    _table(shop, minimum="35.7")
    visit.sign_in("tomas")
    page = visit.get("/tables/AT-1?revision=B")
    form = "/register/table?code=AT-1&amp;revision=B"
    assert f'href="{form}"' in page.text
    opened = visit.get(form.replace("&amp;", "&"))
    assert "&#34;min&#34;: &#34;35.7&#34;" in opened.text
    paper = json.dumps({**written(shop.database, B).paper}).replace('"35.7"', '"37.5"')
    fields = {"code": "AT-1", "source_document": "issue 2", "paper": paper}
    refused = visit.post("/register/table", **fields)
    assert refused.status_code == 409
    assert "Say why it is written again" in _text(refused)
    page = visit.follow(visit.post("/register/table", **fields, again=BECAUSE))
    assert f"Attempt 2, written again because: {BECAUSE}" in _text(page)
    assert 'href="/tables/AT-1?revision=B&amp;attempt=1"' in page.text
    old = visit.get("/tables/AT-1?revision=B&attempt=1")
    assert "This attempt is never used." in _text(old)
    assert "35.7" in old.text
    assert "Withdraw revision" not in old.text
    assert visit.get("/tables/AT-1?revision=B&attempt=3").status_code == 404
    beside = written(shop.database, B).id - 1
    compared = _text(visit.get(f"/tables/AT-1?revision=B&beside={beside}"))
    assert "hardness HRB, minimum 35.7 37.5 changed: tighter" in compared
    visit.sign_in("ines")
    stale = visit.post(
        "/tables/AT-1/verify", revision="B", attempt="1", compared="entry-1", password=PASSWORD
    )
    assert stale.status_code == 409


def test_what_no_entry_is_for_is_shown_and_ticked(shop: Shop, visit: Visit) -> None:
    entry = {**TABLE_PAPER["entries"][0], "surface": "bare"}
    service.write_table(
        shop.database,
        code="AT-1",
        paper=json.dumps({**TABLE_PAPER, "revision": "B", "entries": [entry]}),
        filename="x",
        source_document="issue 2",
        by=shop.engineer,
        at=NOW,
    )
    visit.sign_in("tomas")
    said = "No entry is for clad or clad removed coupons: they are never judged."
    assert said in _text(visit.get("/tables/AT-1?revision=B"))
    keyed(shop.database, B, shop.second)
    with pytest.raises(Refusal, match="Not ticked as compared with the source: What no entry"):
        _verify(shop, compared=["entry-1"])
    visit.sign_in("ines")
    page = visit.get("/tables/AT-1?revision=B")
    assert 'name="compared" value="gaps"' in page.text
    _verify(shop)


def test_every_form_that_writes_asks_why_a_draft_is_written_again(shop: Shop, visit: Visit) -> None:
    visit.sign_in("tomas")
    visit.post("/register/procedure-paper", code="PY-9", source_document="d", paper=procedure())
    kept = written(shop.database, Named(RequirementKind.PYROMETRY_PROCEDURE, "PY-9", "A"))
    fields = {**typed_procedure("PY-9", "d", kept.paper), "revision": "A", "act": "write"}
    refused = visit.post("/register/procedure", **fields)
    assert refused.status_code == 409
    assert 'href="#f-again"' in refused.text
    cycle = {"code": "CY-1", "revision": "A", "source_document": "d"}
    for form in ("table", "table-entry", "cycle", "mapping", "mapping-paper", "procedure"):
        assert 'name="again"' in visit.get(f"/register/{form}").text, form
    rules = {"sensors_per_panel": "2", "coupons_per_panel": "2", "leak_limit_kpa": "2.0"}
    paper = json.dumps(CYCLE_PAPER)
    visit.post(
        "/register/cycle", **{**cycle, "code": "CY-9"}, **rules, leak_minutes="5", paper=paper
    )
    opened = visit.get("/register/cycle?code=CY-9&revision=A").text
    assert 'name="leak_limit_kpa" type="text" value="2.0"' in opened
    again = visit.post(
        "/register/cycle",
        **{**cycle, "code": "CY-9"},
        **{**rules, "leak_limit_kpa": "2.5"},
        leak_minutes="5",
        paper=paper,
        again=BECAUSE,
    )
    beside = _text(visit.follow(again))
    assert "What the shop asks of every panel leak check, at most lost, kPa 2.0 2.5" in beside
    assert "changed: looser" in beside
