"""Writing, verifying and withdrawing tables and cycles, on both databases."""

import json
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import delete, select, update
from sqlalchemy.exc import DatabaseError

from app.audit.actor import Actor
from app.database import Database
from app.errors import BadFile, Conflict, NotAllowed, NotFound, Refusal
from app.people.queries import acts_about
from app.people.records import Signature
from app.requirements import queries, service
from app.requirements.queries import RevisionState
from app.requirements.records import (
    RequirementKind,
    RequirementRevision,
    RequirementVerification,
)
from app.requirements.rules import ShopRules
from app.requirements.service import Named
from tests.makers import CYCLE_PAPER, NOW, TABLE_PAPER, Shop
from tests.requirements.papers import keyed_if_asked
from tests.visits import PASSWORD

RULES = ShopRules(8, 3, Decimal("2.0"), Decimal(5))
TABLE_B = Named(RequirementKind.ACCEPTANCE_TABLE, "AT-1", "B")


def _table(database: Database, shop: Shop, **changed: Any) -> Named:
    paper = {**TABLE_PAPER, "revision": "B", **changed.pop("paper", {})}
    given: dict[str, Any] = {
        "code": "at-1",
        "paper": json.dumps(paper),
        "filename": "AT-1.json",
        "source_document": "invented document, issue 2",
        "by": shop.engineer,
        "at": NOW,
        **changed,
    }
    return service.write_table(database, **given)


def _cycle(database: Database, shop: Shop, **changed: Any) -> Named:
    given: dict[str, Any] = {
        "code": "CY-9",
        "revision": "A",
        "paper": json.dumps({**CYCLE_PAPER, **changed.pop("keys", {})}),
        "filename": "CY-9.json",
        "shop_rules": RULES,
        "source_document": "invented document, issue 2",
        "by": shop.engineer,
        "at": NOW,
        **changed,
    }
    return service.write_cycle(database, **given)


def _one(database: Database, named: Named) -> queries.Revision:
    with database.read() as session:
        found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    return next(one for one in found if one.revision == named.revision)


def _anchors(database: Database, named: Named) -> list[str]:
    return [part.anchor for part in queries.parts_of(_one(database, named))]


def _verify(database: Database, named: Named, by: Actor, **changed: Any) -> None:
    given: dict[str, Any] = {
        "compared": _anchors(database, named),
        "in_force_from": None,
        "password": PASSWORD,
        "by": by,
        "at": NOW + timedelta(hours=1),
        **changed,
    }
    keyed_if_asked(database, named)
    service.verify(database, named, **given)


def test_a_written_revision_is_not_in_force_until_a_second_person_verified_it(
    database: Database,
) -> None:
    shop = Shop(database)
    assert _table(database, shop) == TABLE_B
    written = _one(database, TABLE_B)
    assert queries.state_of(written, NOW) is RevisionState.UNVERIFIED
    assert not written.in_force(NOW + timedelta(days=9))
    _verify(database, TABLE_B, shop.supervisor)
    verified = _one(database, TABLE_B)
    assert verified.in_force(NOW + timedelta(hours=1))
    assert not verified.in_force(NOW + timedelta(minutes=59))


def test_the_figures_of_a_table_are_kept_digit_for_digit(database: Database) -> None:
    shop = Shop(database)
    text = json.dumps({**TABLE_PAPER, "revision": "B"}).replace('"83.0"', "83.00")
    service.write_table(
        database,
        code="AT-2",
        paper=text.encode(),
        filename="x.json",
        source_document="d",
        by=shop.engineer,
        at=NOW,
    )
    kept = _one(database, replace(TABLE_B, code="AT-2")).paper
    assert kept["entries"][0]["criteria"][0]["min"] == "83.00"
    assert kept["entries"][0]["criteria"][0]["range_max"] == "3.0"


def test_a_revision_name_is_used_once(database: Database) -> None:
    shop = Shop(database)
    _table(database, shop)
    with pytest.raises(Conflict, match="AT-1 has a revision B already"):
        _table(database, shop)
    with pytest.raises(Conflict, match="a name other than A, B"):
        _table(database, shop, paper={"revision": "A"})


def test_an_identity_of_something_else_is_no_table(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(Conflict, match="CY-1 is already the identity of a cycle"):
        _table(database, shop, code="CY-1")


@pytest.mark.parametrize(
    ("paper", "says"),
    [
        ("{", "AT.json: line 1, column 2: not JSON"),
        ("[]", "AT.json"),
        (json.dumps({**TABLE_PAPER, "extra": 1}), "extra: is no key of this paper"),
        (
            json.dumps(TABLE_PAPER).replace('"83.0"', '"eighty"'),
            "entries[0].criteria[0].min: expected a number",
        ),
        (json.dumps({**TABLE_PAPER, "entries": TABLE_PAPER["entries"] * 2}), "AT.json"),
        (b"\xff\xfe", "it is not UTF-8 text"),
    ],
)
def test_a_paper_that_cannot_judge_is_refused_naming_file_and_field(
    database: Database, paper: str | bytes, says: str
) -> None:
    shop = Shop(database)
    with pytest.raises(BadFile) as refused:
        service.write_table(
            database,
            code="AT-2",
            paper=paper,
            filename="AT.json",
            source_document="d",
            by=shop.engineer,
            at=NOW,
        )
    assert says in refused.value.sentence
    assert list(refused.value.fields) == ["paper"]
    with database.read() as session:
        assert queries.find_requirement(session, "AT-2") is None


def test_a_cycle_is_kept_without_the_keys_that_belong_to_each_load(database: Database) -> None:
    shop = Shop(database)
    named = _cycle(database, shop, keys={"sensors": [], "corrections": None})
    kept = _one(database, named)
    assert "sensors" not in kept.paper
    assert "corrections" not in kept.paper
    assert kept.paper["stages"][0]["set"] == "150"
    assert kept.paper["vacuum"]["min_kpa"] == "70"
    assert kept.shop_rules == {
        "sensors_per_panel": "8",
        "coupons_per_panel": "3",
        "leak_limit_kpa": "2.0",
        "leak_minutes": "5",
    }


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"sensors": ["TC1"]}, "sensors: they belong to each load"),
        ({"corrections": {"TC1": [["100", "0.4"]]}}, "corrections: they belong to each load"),
        ({"stages": []}, "stages is empty"),
        ({"max_gap_s": "-1"}, "max_gap_s"),
        ({"soak": 3}, "soak: is no key of this paper"),
    ],
)
def test_a_cycle_paper_that_cannot_judge_is_refused(
    database: Database, keys: dict[str, Any], says: str
) -> None:
    shop = Shop(database)
    with pytest.raises(BadFile) as refused:
        _cycle(database, shop, keys=keys)
    assert says in refused.value.sentence
    assert "CY-9.json" in refused.value.sentence


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"revision": " "}, "revision"),
        ({"revision": "x" * 21}, "revision"),
        ({"source_document": " "}, "source_document"),
        ({"shop_rules": replace(RULES, sensors_per_panel=0)}, "sensors_per_panel"),
    ],
)
def test_what_stands_beside_a_cycles_paper_is_asked_for(
    database: Database, changed: dict[str, Any], field: str
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal) as refused:
        _cycle(database, shop, **changed)
    assert list(refused.value.fields) == [field]


@pytest.mark.parametrize("person", ["inspector", "supervisor", "auditor", "administrator"])
def test_only_an_engineer_writes(database: Database, person: str) -> None:
    shop = Shop(database)
    by = getattr(shop, person)
    with pytest.raises(NotAllowed, match="Only an engineer may"):
        _table(database, shop, by=by)
    with pytest.raises(NotAllowed, match="Only an engineer may"):
        _cycle(database, shop, by=by)


@pytest.mark.parametrize("person", ["inspector", "engineer", "auditor", "administrator"])
def test_only_a_supervisor_verifies(database: Database, person: str) -> None:
    shop = Shop(database)
    _table(database, shop)
    with pytest.raises(NotAllowed, match="Only a supervisor may"):
        _verify(database, TABLE_B, getattr(shop, person))


def test_nobody_verifies_what_they_wrote_themselves(database: Database) -> None:
    shop = Shop(database)
    both = replace(
        shop.engineer,
        roles=frozenset({"engineer", "supervisor"}),
        authorised=shop.supervisor.authorised,
    )
    _table(database, shop, by=both)
    with pytest.raises(NotAllowed, match="You wrote AT-1 revision B; another supervisor"):
        _verify(database, TABLE_B, both)
    assert _one(database, TABLE_B).verified_by_id is None
    _verify(database, TABLE_B, shop.supervisor)


def test_every_part_has_to_be_compared(database: Database) -> None:
    shop = Shop(database)
    named = _cycle(database, shop)
    anchors = _anchors(database, named)
    with pytest.raises(Refusal, match="Not ticked as compared with the source: Bag vacuum"):
        _verify(
            database,
            named,
            shop.supervisor,
            compared=[anchor for anchor in anchors if anchor != "vacuum"],
        )
    _verify(database, named, shop.supervisor)


def test_a_verification_needs_the_persons_own_password(database: Database) -> None:
    shop = Shop(database)
    _table(database, shop)
    with pytest.raises(Refusal, match="signature was not made"):
        _verify(database, TABLE_B, shop.supervisor, password="somebody else's")
    assert _one(database, TABLE_B).verified_by_id is None


def test_a_verification_is_signed_over_all_that_was_compared(database: Database) -> None:
    shop = Shop(database)
    named = _cycle(database, shop)
    later = NOW + timedelta(days=2)
    _verify(database, named, shop.supervisor, in_force_from=later)
    kept = _one(database, named)
    assert queries.state_of(kept, NOW + timedelta(days=1)) is RevisionState.COMING
    assert queries.state_of(kept, later) is RevisionState.IN_FORCE
    with database.read() as session:
        signature = session.scalars(
            select(Signature)
            .join(RequirementVerification)
            .where(RequirementVerification.revision_id == kept.id)
        ).one()
        acts = acts_about(session, "cycle", "CY-9")
    assert signature.content_sha256 == service.signed_content(kept, in_force_from=later)
    looser = replace(kept, shop_rules={**kept.shop_rules, "leak_limit_kpa": "9"})
    assert signature.content_sha256 != service.signed_content(looser, in_force_from=later)
    assert signature.printed_name == "Ines Valcourt"
    assert [act.act for act in acts] == [
        "cycle verified",
        "revision keyed again",
        "cycle written",
    ]


def test_a_revision_does_not_come_into_force_before_it_is_verified(database: Database) -> None:
    shop = Shop(database)
    _table(database, shop)
    with pytest.raises(Refusal, match="comes into force when it is verified, or later"):
        _verify(database, TABLE_B, shop.supervisor, in_force_from=NOW)


def test_a_revision_is_verified_once(database: Database) -> None:
    shop = Shop(database)
    _table(database, shop)
    _verify(database, TABLE_B, shop.supervisor)
    with pytest.raises(Conflict, match="Ines Valcourt has verified AT-1 revision B already"):
        _verify(database, TABLE_B, shop.supervisor)


def test_a_withdrawn_revision_is_in_force_no_more_and_cannot_be_verified(
    database: Database,
) -> None:
    shop = Shop(database)
    _table(database, shop)
    reason = {"reason": "its source was withdrawn", "at": NOW + timedelta(hours=2)}
    service.withdraw(database, replace(TABLE_B, revision="A"), by=shop.engineer, **reason)
    first = _one(database, replace(TABLE_B, revision="A"))
    assert first.in_force(NOW + timedelta(hours=1))
    assert not first.in_force(NOW + timedelta(hours=2))
    assert queries.state_of(first, NOW + timedelta(hours=2)) is RevisionState.WITHDRAWN
    service.withdraw(database, TABLE_B, by=shop.supervisor, **reason)
    with pytest.raises(Refusal, match="is withdrawn; nothing is signed"):
        _verify(database, TABLE_B, shop.supervisor)
    with pytest.raises(Conflict, match="withdrawn already"):
        service.withdraw(database, TABLE_B, by=shop.engineer, **reason)


def test_a_withdrawal_gives_its_reason_and_is_for_engineers_and_supervisors(
    database: Database,
) -> None:
    shop = Shop(database)
    first = replace(TABLE_B, revision="A")
    with pytest.raises(Refusal, match="Say why"):
        service.withdraw(database, first, reason="  short   ", by=shop.engineer, at=NOW)
    with pytest.raises(NotAllowed):
        service.withdraw(database, first, reason="long enough", by=shop.inspector, at=NOW)


def test_what_is_not_on_record_is_not_found(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(NotFound, match="AT-1 has no revision 'Z'; it has A"):
        service.withdraw(
            database, replace(TABLE_B, revision="Z"), reason="x" * 10, by=shop.engineer, at=NOW
        )
    with pytest.raises(NotFound, match="No acceptance table CY-1 is on record"):
        _one(database, replace(TABLE_B, code="CY-1", revision="A"))


def test_the_page_opens_with_the_newest_revision_in_force(database: Database) -> None:
    shop = Shop(database)
    _table(database, shop)
    _verify(database, TABLE_B, shop.supervisor)
    _table(database, shop, paper={"revision": "C"})
    with database.read() as session:
        found = queries.named(session, "AT-1", kind=RequirementKind.ACCEPTANCE_TABLE)
    assert [one.revision for one in found] == ["A", "B", "C"]
    assert queries.shown_first(found, NOW + timedelta(hours=1)).revision == "B"
    assert queries.shown_first(found, NOW).revision == "A"
    assert queries.shown_first(found, NOW - timedelta(days=99)).revision == "C"
    assert queries.shown_first(found, NOW, asked="C").revision == "C"


@pytest.mark.parametrize(
    ("row", "column"),
    [
        (RequirementRevision, "source_document"),
        (RequirementVerification, "revision_id"),
        (Signature, "printed_name"),
    ],
)
def test_the_database_itself_refuses_to_change_a_revision_or_its_verification(
    database: Database, row: type[Any], column: str
) -> None:
    Shop(database)
    for statement in (update(row).values({column: 99}), delete(row)):
        with pytest.raises(DatabaseError), database.write() as session:
            session.execute(statement)
