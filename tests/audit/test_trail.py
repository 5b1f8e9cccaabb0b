"""The trail finds what was altered behind the program's back, each way of altering in turn."""

import hashlib
import json
from collections.abc import Callable, Iterator

import pytest
import rfc8785
from sqlalchemy import Connection, text

from app.audit.chain import GENESIS, canonical, entry_body, entry_hash
from app.audit.records import TrailEntry
from app.audit.verify import TrailReport, verify_trail
from app.database import Database
from tests.makers import Shop


@pytest.fixture
def altered(database_url: str) -> Iterator[Callable[..., TrailReport]]:
    """Alter a shop's records by SQL with the triggers switched off, then verify."""
    opened = Database(database_url)
    Shop(opened).panel_in_load()

    def alter(*statements: str, **named: str) -> TrailReport:
        with opened.engine.begin() as connection:
            _without_triggers(connection)
            for statement in statements:
                connection.execute(text(statement), named)
        with opened.read() as session:
            return verify_trail(session)

    yield alter
    opened.close()


def _without_triggers(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text("SET session_replication_role = replica"))
        return
    connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
    for (name,) in connection.execute(
        text("SELECT name FROM sqlite_master WHERE type='trigger'")
    ).fetchall():
        connection.execute(text(f"DROP TRIGGER {name}"))


def test_an_untouched_trail_holds(altered: Callable[..., TrailReport]) -> None:
    report = altered("UPDATE panel SET decided = decided")
    assert report.holds
    assert report.entries > 20
    assert report.head != GENESIS


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("UPDATE panel SET drawing = 'DRW-9'", "changed from outside"),
        ("UPDATE person SET roles = '[\"supervisor\"]' WHERE username = 'mara'", "changed from"),
        ("UPDATE person SET password_hash = 'x' WHERE username = 'mara'", "changed from outside"),
        ("UPDATE requirement_revision SET paper = '{}'", "changed from outside"),
        ("UPDATE reference_block SET certified_value = '84.0'", "changed from outside"),
        ("DELETE FROM custody_step WHERE id = 1", "removed from outside"),
        ("DELETE FROM load_sensor WHERE id = 1", "removed from outside"),
        (
            (
                "INSERT INTO custody_step SELECT id + 500, coupon_id, step, place, note, by_id, "
                "taken_at, entered_at FROM custody_step WHERE id = 1"
            ),
            "put in from outside",
        ),
        ("UPDATE trail_entry SET body = replace(body, 'maker', 'baker') WHERE number = 5", "hash"),
        ("UPDATE trail_entry SET \"by\" = 'mara' WHERE number = 5", "listed differently"),
        ("DELETE FROM trail_entry WHERE number = 7", "Entry 7 is missing"),
        (
            (
                "UPDATE trail_entry SET number = number + 1 "
                "WHERE number = (SELECT max(number) FROM trail_entry)"
            ),
            "is missing",
        ),
    ],
)
def test_an_alteration_is_found(
    altered: Callable[..., TrailReport], statement: str, found: str
) -> None:
    report = altered(statement)
    assert not report.holds
    assert any(found in problem for problem in report.problems), report.problems


def test_an_entry_rewritten_with_a_fitting_hash_still_breaks_the_next(
    database_url: str, altered: Callable[..., TrailReport]
) -> None:
    opened = Database(database_url)
    with opened.read() as session:
        entry = session.get(TrailEntry, 5)
        assert entry is not None
        body = json.loads(entry.body)
    opened.close()
    body["by"] = "baker"
    report = altered(
        'UPDATE trail_entry SET "by" = :by, hash = :hash, body = :body WHERE number = 5',
        by="baker",
        hash=entry_hash(body),
        body=canonical(body).decode(),
    )
    assert "Entry 6 does not follow the entry before it." in report.problems


def test_two_entries_put_in_each_others_place_are_found(
    altered: Callable[..., TrailReport],
) -> None:
    report = altered(
        "UPDATE trail_entry SET number = 100000 WHERE number = 3",
        "UPDATE trail_entry SET number = 3 WHERE number = 4",
        "UPDATE trail_entry SET number = 4 WHERE number = 100000",
    )
    assert not report.holds


def test_rfc_8785_section_3_2_3_sorting_example() -> None:
    """RFC 8785, 3.2.3: property names sort by UTF-16 code units; the RFC's own example."""
    given = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    order = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]
    assert list(json.loads(canonical(given)).values()) == order
    assert canonical(given) == rfc8785.dumps(given)


def test_fips_180_4_sha_256_of_abc() -> None:
    """FIPS 180-4 (NIST's example values): SHA-256 of the three bytes 'abc'."""
    assert (
        hashlib.sha256(b"abc").hexdigest()
        == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def test_an_entry_can_be_recomputed_by_hand() -> None:
    """The hash is plain SHA-256 over the RFC 8785 text; this one is written out in full."""
    body = entry_body(
        number=1,
        at="2026-03-02T06:00:00.000000Z",
        by="mara",
        tag="release:hold:placed",
        about=("panel", "P-1"),
        note="",
        rows=[],
        previous=GENESIS,
    )
    written = (
        '{"about":{"code":"P-1","kind":"panel"},"at":"2026-03-02T06:00:00.000000Z","by":"mara",'
        f'"note":"","number":1,"previous":"{GENESIS}","rows":[],"tag":"release:hold:placed",'
        '"version":1}'
    )
    assert entry_hash(body) == hashlib.sha256(written.encode()).hexdigest()
