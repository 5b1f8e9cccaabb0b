"""Procedures and mappings: written, verified by a second person, in force; on both databases."""

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.audit.actor import Actor
from app.database import Database
from app.errors import BadFile, Conflict, NotAllowed, Refusal
from app.people.queries import acts_about
from app.people.records import Meaning, Signature
from app.requirements import queries, service
from app.requirements.queries import Revision, RevisionState
from app.requirements.records import RequirementKind, RequirementVerification
from app.requirements.service import KINDS, Named
from tests.makers import NOW, Shop
from tests.requirements.papers import MAPPING, PROCEDURE, keyed_if_asked, mapping, procedure
from tests.visits import PASSWORD

SAMPLE = (("export.csv", "ab" * 32),)
LATER = NOW + timedelta(hours=1)
BOTH = pytest.mark.parametrize("kind", ["procedure", "mapping"])


def _write(database: Database, kind: str, by: Actor, **changed: Any) -> Named:
    given: dict[str, Any] = {
        "code": "xx-1",
        "paper": procedure() if kind == "procedure" else mapping(),
        "filename": "X.json",
        "source_document": "invented document 7",
        "by": by,
        "at": NOW,
        **changed,
    }
    if kind == "procedure":
        return service.write_procedure(database, **given)
    return service.write_mapping(database, **{"revision": "A", **given})


def _one(database: Database, named: Named) -> Revision:
    with database.read() as session:
        found = queries.named(session, named.code, kind=named.kind, revision=named.revision)
    return next(one for one in found if one.revision == named.revision)


def _verify(database: Database, named: Named, by: Actor, **changed: Any) -> None:
    is_mapping = named.kind is RequirementKind.LOGGER_MAPPING
    parts = [part.anchor for part in queries.parts_of(_one(database, named))]
    given: dict[str, Any] = {
        "compared": [*parts, "sample"] if is_mapping else parts,
        "in_force_from": None,
        "password": PASSWORD,
        "by": by,
        "at": LATER,
        "sample": SAMPLE if is_mapping else (),
        **changed,
    }
    keyed_if_asked(database, named)
    service.verify(database, named, **given)


@BOTH
def test_a_written_paper_is_not_in_force_until_a_second_person_verified_it(
    database: Database, kind: str
) -> None:
    shop = Shop(database)
    named = _write(database, kind, shop.engineer)
    assert (named.code, named.revision) == ("XX-1", "A")
    written = _one(database, named)
    assert queries.state_of(written, LATER) is RevisionState.UNVERIFIED
    _verify(database, named, shop.supervisor)
    verified = _one(database, named)
    assert verified.in_force(LATER)
    assert not verified.in_force(NOW)
    with database.read() as session:
        acts = acts_about(session, KINDS[named.kind].identity, "XX-1")
        signature = session.query(Signature).order_by(Signature.id.desc()).first()
    assert len(acts) == (3 if kind == "procedure" else 2)
    assert signature is not None
    assert (
        signature.meaning
        is {
            "procedure": Meaning.VERIFIED_PROCEDURE,
            "mapping": Meaning.VERIFIED_MAPPING,
        }[kind]
    )


@BOTH
def test_the_writer_cannot_verify_whatever_roles_they_hold(database: Database, kind: str) -> None:
    shop = Shop(database)
    both = replace(
        shop.engineer,
        roles=frozenset({"engineer", "supervisor"}),
        authorised=shop.supervisor.authorised,
    )
    named = _write(database, kind, both)
    with pytest.raises(NotAllowed, match="You wrote XX-1 revision A; another supervisor"):
        _verify(database, named, both)
    assert not _one(database, named).in_force(LATER)


@pytest.mark.parametrize(
    ("kind", "who", "may"),
    [
        ("procedure", "engineer", True),
        ("procedure", "inspector", False),
        ("procedure", "supervisor", False),
        ("procedure", "administrator", False),
        ("procedure", "auditor", False),
        ("mapping", "engineer", True),
        ("mapping", "administrator", True),
        ("mapping", "inspector", False),
        ("mapping", "supervisor", False),
        ("mapping", "auditor", False),
    ],
)
def test_who_may_write_it(database: Database, kind: str, who: str, *, may: bool) -> None:
    shop = Shop(database)
    by = getattr(shop, who)
    if may:
        assert _write(database, kind, by).code == "XX-1"
        return
    with pytest.raises(NotAllowed, match=r"may write (pyrometry procedures|logger mappings)"):
        _write(database, kind, by)


@BOTH
@pytest.mark.parametrize("who", ["inspector", "engineer", "administrator", "auditor"])
def test_only_a_supervisor_verifies(database: Database, kind: str, who: str) -> None:
    shop = Shop(database)
    other = Actor(shop.engineer.id, "tomas", "Tomas Brandl", frozenset({"engineer"}))
    named = _write(database, kind, other)
    with pytest.raises(NotAllowed):
        _verify(database, named, getattr(shop, who))


@BOTH
def test_every_part_has_to_be_ticked(database: Database, kind: str) -> None:
    shop = Shop(database)
    named = _write(database, kind, shop.engineer)
    with pytest.raises(Refusal, match="Not ticked as compared with the source"):
        _verify(database, named, shop.supervisor, compared=[])


def test_a_mapping_is_verified_only_after_it_was_tried_on_an_export(database: Database) -> None:
    shop = Shop(database)
    named = _write(database, "mapping", shop.engineer)
    with pytest.raises(Refusal, match="Try the mapping on an export of the logger first"):
        _verify(database, named, shop.supervisor, sample=())
    with pytest.raises(Refusal, match="Which export was tried is no longer known"):
        _verify(database, named, shop.supervisor, sample=(("a.csv", "no digest"),))
    parts = [part.anchor for part in queries.parts_of(_one(database, named))]
    with pytest.raises(Refusal, match=r"Not ticked as compared .*: The rows of the export"):
        _verify(database, named, shop.supervisor, compared=parts)
    _verify(database, named, shop.supervisor)
    assert _one(database, named).sample == [list(SAMPLE[0])]
    with database.read() as session:
        (verified, _) = acts_about(session, "logger_mapping", "XX-1")
    assert "tried on export.csv" in (verified.note or "")


def test_only_a_mapping_is_tried_on_an_export(database: Database) -> None:
    shop = Shop(database)
    named = _write(database, "procedure", shop.engineer)
    with pytest.raises(Refusal, match="Only a logger mapping is tried on an export"):
        _verify(database, named, shop.supervisor, sample=SAMPLE)
    _verify(database, named, shop.supervisor)
    with database.read() as session:
        last = session.query(RequirementVerification).order_by(RequirementVerification.id.desc())
        assert last.first().sample is None  # type: ignore[union-attr]


@BOTH
def test_a_revision_name_is_used_once_and_an_identity_for_one_kind(
    database: Database, kind: str
) -> None:
    shop = Shop(database)
    _write(database, kind, shop.engineer)
    with pytest.raises(Conflict, match="XX-1 has a revision A already") as refused:
        _write(database, kind, shop.engineer)
    assert list(refused.value.fields) == ["again"]
    with pytest.raises(Conflict, match="CY-1 is already the identity of a cycle"):
        _write(database, kind, shop.engineer, code="CY-1")


@pytest.mark.parametrize(
    ("kind", "paper", "says"),
    [
        ("procedure", procedure(classes=[]), "X.json: classes is empty"),
        ("procedure", procedure(surprise=1), "surprise: is no key of this paper"),
        ("procedure", procedure(instrumentation_types=["B"]), "type 'D' is not among"),
        ("mapping", mapping(channels=[]), "channels is empty"),
        ("mapping", mapping(decimal_mark="semicolon"), "decimal_mark: expected"),
        ("mapping", "{", "X.json: line 1, column 2: not JSON"),
    ],
)
def test_a_paper_that_cannot_be_used_is_refused_naming_the_field(
    database: Database, kind: str, paper: str, says: str
) -> None:
    shop = Shop(database)
    with pytest.raises(BadFile) as refused:
        _write(database, kind, shop.engineer, paper=paper)
    assert says in refused.value.sentence
    assert list(refused.value.fields) == ["paper"]


@BOTH
def test_a_withdrawn_revision_is_in_force_no_longer(database: Database, kind: str) -> None:
    shop = Shop(database)
    named = _write(database, kind, shop.engineer)
    _verify(database, named, shop.supervisor)
    for by in (shop.inspector, shop.auditor):
        with pytest.raises(NotAllowed):
            service.withdraw(database, named, reason="it was wrong", by=by, at=LATER)
    at = LATER + timedelta(hours=1)
    service.withdraw(database, named, reason="it was wrong", by=shop.engineer, at=at)
    found = _one(database, named)
    assert found.in_force(LATER)
    assert not found.in_force(at)


def test_the_procedure_in_force_is_the_newest_verified_one_at_that_time(
    database: Database,
) -> None:
    shop = Shop(database)
    first = _write(database, "procedure", shop.engineer)
    _verify(database, first, shop.supervisor)
    second = _write(database, "procedure", shop.engineer, paper=procedure(revision="B"))
    starts = LATER + timedelta(days=3)
    _verify(database, second, shop.supervisor, in_force_from=starts)
    _write(database, "procedure", shop.engineer, paper=procedure(revision="C"))
    with database.read() as session:
        requirement = queries.find_requirement(session, "XX-1")
        table = queries.find_requirement(session, "AT-1")
        assert requirement is not None
        assert table is not None

        def revision(days: int) -> str | None:
            found = dict(queries.procedures_in_force(session, at=LATER + timedelta(days=days)))
            assert table.id not in found
            return found[requirement.id].revision if requirement.id in found else None

        assert [revision(-1), revision(0), revision(2), revision(3)] == [None, "A", "A", "B"]


def test_the_mappings_in_force_are_one_revision_of_each(database: Database) -> None:
    shop = Shop(database)
    for code, revision in (("LM-1", "A"), ("LM-1", "B"), ("LM-2", "A"), ("LM-3", "A")):
        named = _write(database, "mapping", shop.engineer, code=code, revision=revision)
        if code != "LM-3":
            _verify(database, named, shop.supervisor)
    with database.read() as session:
        found = queries.mappings_in_force(session, at=LATER)
        assert queries.mappings_in_force(session, at=NOW) == []
    assert [(one.code, one.revision) for one in found] == [("LM-1", "B"), ("LM-2", "A")]
    assert queries.mapping_of(found[0]).channels[1].column == "Right"


def test_figures_and_names_are_kept_as_written(database: Database) -> None:
    shop = Shop(database)
    paper = _one(database, _write(database, "procedure", shop.engineer)).paper
    assert paper == json.loads(procedure())
    assert paper["accuracy_test"][0]["largest_difference_c"] == "1.50"
    kept = _one(database, _write(database, "mapping", shop.engineer, code="LM-1")).paper
    assert {key: kept[key] for key in MAPPING if key not in {"time", "channels", "vacuum"}} == {
        key: MAPPING[key] for key in MAPPING if key not in {"time", "channels", "vacuum"}
    }
    assert PROCEDURE["revision"] == "A"
