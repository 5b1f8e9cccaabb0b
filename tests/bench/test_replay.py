"""History judged again: it says what it said, or the command names what does not."""

from datetime import UTC, date, timedelta
from decimal import Decimal

import pytest
from sqlalchemy import text

from app.cli.replay import replay_command
from app.database import Database
from app.documents.replayed import differences, outcome_differences
from app.loads.service import exclude_sensor, import_record
from app.panels.records import Coupon
from tests.bench.bench_makers import Bench
from tests.loads.logger_files import columns, run, sources
from tests.makers import NOW
from tests.visits import PASSWORD


def _from_outside(database: Database, statement: str) -> None:
    """What somebody with the file in hand does: the triggers off, then a row changed."""
    with database.engine.begin() as connection:
        names = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        for name in connection.execute(text(names)).scalars().all():
            connection.execute(text(f"DROP TRIGGER {name}"))
        assert connection.execute(text(statement)).rowcount


def _recorded(bench: Bench) -> None:
    """A load whose record was judged twice: TC2 failed and was excluded."""
    load, *_ = bench.shop.panel_in_load(sensors=3)
    names = ("TC1", "TC2", "TC3")
    content = run(sensors=names, changed={"TC2": dict.fromkeys(range(100, 110), "OPEN")})
    at, by = NOW + timedelta(hours=8), bench.shop.supervisor
    told = {"by": bench.shop.inspector, "at": at, "zone": UTC}
    chosen = columns(*names, "VAC")
    import_record(bench.database, load.code, sources(content), chosen, **told)
    signed = {"reason": "wire broken at the plug", "password": PASSWORD}
    exclude_sensor(bench.database, load.code, "TC2", **told | signed | {"by": by})


def _measured(bench: Bench) -> tuple[Coupon, Coupon]:
    """A coupon below its limit, and one with a void, a correction and a retest."""
    low, good = bench.coupons(2)
    bench.hard(low, "80.0", "80.5", "81.0")
    bench.conductive(good)
    bench.hard(good, "82.5", "85.0", "85.0", "85.0")
    slipped, misread, *_ = bench.readings(good)[3:]
    bench.correct(good, misread, "85.4", by=bench.shop.supervisor)
    bench.retest(good)
    bench.hard(good)
    bench.void(good, slipped)
    return low, good


def _certified(bench: Bench) -> None:
    """A certificate with an uncertainty, which every budget would have, accepted at ``NOW``."""
    shop = bench.shop
    with bench.database.write() as session:
        key = shop.tester_certificate(
            session,
            shop.hardness_tester_id,
            "C-U",
            done_on=date(2026, 2, 1),
            expanded_uncertainty=Decimal("0.6"),
            review=None,
        )
        shop.reviewed(session, tester_certificate_id=key, accepted=True)


def test_all_of_history_is_judged_again_and_what_was_changed_is_named(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TEMPERBOOK_DATABASE_URL", sqlite_url)
    monkeypatch.setenv("TEMPERBOOK_TIME_ZONE", "Europe/Lisbon")
    database = Database(sqlite_url)
    bench = Bench(database, retest={"further": 1, "of": "sets"})
    low, good = _measured(bench)
    _recorded(bench)
    kept = [len(bench.verdicts(one)) for one in (low, good)]
    assert min(kept) >= 2

    def told(limit: int | None = None) -> tuple[int, str]:
        status = replay_command(limit)
        return status, capsys.readouterr().out

    status, words = told()
    assert status == 0, words
    assert f"Verdicts on coupons: {sum(kept)} judged again, 0 differ" in words
    assert "Verdicts on furnace records: 2 judged again, 0 differ" in words
    assert " s per 100)" in words
    assert told(1)[1].count(": 1 judged again, 0 differ") == 2

    _certified(bench)  # before anything was measured, and no verdict took it into account
    status, words = told()
    assert status == 1
    assert words.count(f"Coupon {low.code}, judged") == kept[0]
    newest = "id = (SELECT max(id) FROM report_review)"
    _from_outside(
        database, f"UPDATE report_review SET reviewed_at = '2026-03-09 08:00:00' WHERE {newest}"
    )
    assert told()[0] == 0  # accepted since: what was judged before it stands

    _from_outside(
        database, f"UPDATE reading SET value = '85.0' WHERE coupon_id = {low.id} AND value < '83'"
    )
    status, words = told()
    assert status == 1
    assert f"Coupon {low.code}, judged 2026-03-02" in words
    assert "what it rests on is not on record as it was judged" in words
    assert "does not conform then, not proven now; findings not the same: hardness." in words
    assert f"Coupon {good.code}" not in words
    assert f"{kept[0]} differ (" in words
    assert f"NOT IDENTICAL: {kept[0]} differ." in words

    _from_outside(database, "UPDATE coupon_verdict SET rules_version = '1'")
    status, words = told()
    assert status == 1
    assert f"Coupon {low.code}, judged 2026-03-02" in words
    assert "does not conform then, not proven now.\n" in words
    assert f"{sum(kept)} of them are of older rules; only their outcomes were compared." in words

    _from_outside(database, "UPDATE record_verdict SET verdict = 'does_not_conform'")
    status, words = told()
    assert "record run.csv, judged 2026-03-02" in words
    assert "does not conform then, conforms now.\n" in words
    assert "Verdicts on furnace records: 2 judged again, 2 differ" in words
    _from_outside(database, "UPDATE furnace_record SET trace_sha256 = 'x'")
    assert told()[1].count("its samples are not those that were imported.") == 2
    database.close()


def test_papers_are_compared_to_the_last_word() -> None:
    one = {"code": "hardness.minimum", "outcome": "conforms", "text": "85 is not below 83."}
    paper = {"verdict": "conforms", "provisional": False, "findings": [one], "entry": None}
    outcome = {"verdict": "conforms", "provisional": False}
    assert differences(outcome, paper, paper) is None
    reworded = paper | {"findings": [one | {"text": "85 is above 83."}]}
    assert differences(outcome, paper, reworded) == "findings not the same: hardness.minimum"
    assert differences(outcome, paper, paper | {"entry": {"number": 1}}) == "entry not the same"
    twice = paper | {"findings": [one, one]}
    assert differences(outcome, paper, twice) == "findings in another order or number"
    provisional = outcome | {"provisional": True}
    said = "conforms, provisional, then, conforms now"
    assert differences(provisional, paper, paper) == said
    assert outcome_differences(provisional, paper) == said
    assert outcome_differences(outcome, reworded) is None
    more = [one | {"code": code} for code in "abcde"]
    assert differences(outcome, paper, paper | {"findings": [one, *more]}) == (
        "findings not the same: a, b, c and 2 more"
    )
