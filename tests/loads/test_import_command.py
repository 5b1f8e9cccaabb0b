"""`temperbook import-record`: the same import from the command line."""

import io
from pathlib import Path

import pytest

from app.cli.import_record import Told, import_record_command
from app.database import Database
from app.loads import queries
from app.loads.replacements import replacements
from tests.loads.logger_files import run
from tests.makers import Shop
from tests.visits import PASSWORD


@pytest.fixture
def typed(database_url: str, monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """The command's database and, on standard input, everybody's password."""
    monkeypatch.setenv("TEMPERBOOK_DATABASE_URL", database_url)
    monkeypatch.setattr("sys.stdin", io.StringIO(PASSWORD + "\n"))
    return monkeypatch


def _run(
    load: str, path: Path, *, by: str = "mara", time_column: str | None = None, reason: str = ""
) -> int:
    told = Told(time_column=time_column)
    return import_record_command(load, [path], by=by, told=told, reason=reason)


def test_a_conforming_record_is_kept_and_exits_with_zero(
    database: Database,
    typed: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    load, *_ = Shop(database).panel_in_load()
    path = tmp_path / "run.csv"
    path.write_bytes(run())
    assert _run(load.code.lower(), path) == 0
    said = capsys.readouterr().out
    assert said.startswith("Verdict: conforms")
    assert "Conforms: " in said
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.file_name == "run.csv"


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({"TC2": dict.fromkeys(range(100, 110), "OPEN")}, 3),
        ({"TC2": dict.fromkeys(range(100, 110), "155.0")}, 1),
    ],
)
def test_the_exit_status_tells_the_verdict(
    database: Database,
    typed: pytest.MonkeyPatch,
    tmp_path: Path,
    changed: dict[str, dict[int, str]],
    status: int,
) -> None:
    load, *_ = Shop(database).panel_in_load()
    path = tmp_path / "run.csv"
    path.write_bytes(run(changed=changed))
    assert _run(load.code, path) == status


def test_what_is_refused_is_one_sentence_and_keeps_nothing(
    database: Database,
    typed: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    load, *_ = Shop(database).panel_in_load()
    path = tmp_path / "run.csv"
    for content, said in ((b"", "empty"), (run(changed={"TC1": {3: "x"}}), "row 5")):
        typed.setattr("sys.stdin", io.StringIO(PASSWORD + "\n"))
        path.write_bytes(content)
        assert _run(load.code, path) == 2
        told = capsys.readouterr().err
        assert said in told
        assert told.count("\n") == 1
    with database.read() as session:
        assert queries.current_record(session, load.id) is None


@pytest.mark.parametrize(
    ("by", "password"), [("mara", "wrong"), ("nobody", PASSWORD), ("olek", PASSWORD)]
)
def test_a_stranger_or_an_auditor_imports_nothing(
    database: Database,
    typed: pytest.MonkeyPatch,
    tmp_path: Path,
    by: str,
    password: str,
) -> None:
    load, *_ = Shop(database).panel_in_load()
    path = tmp_path / "run.csv"
    path.write_bytes(run())
    typed.setattr("sys.stdin", io.StringIO(password + "\n"))
    assert _run(load.code, path, by=by) == 2


def test_another_time_column_is_taken_when_it_is_named(
    database: Database, typed: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    load, *_ = Shop(database).panel_in_load()
    rows = run().decode().splitlines()
    seconds = ["elapsed", *(str(number * 60) for number in range(len(rows) - 1))]
    path = tmp_path / "run.csv"
    both = zip(rows, seconds, strict=True)
    path.write_text("\n".join(f"{row},{at}" for row, at in both) + "\n")
    assert _run(load.code, path, time_column="elapsed") == 0
    with database.read() as session:
        record = queries.current_record(session, load.id)
        assert record is not None
        assert record.layout["time"]["kind"] == "elapsed"
        assert record.starts_at is None


def test_the_password_given_signs_for_a_record_that_is_replaced(
    database: Database, typed: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    load, *_ = Shop(database).panel_in_load()
    path = tmp_path / "run.csv"
    for offset, reason in ((0.0, ""), (0.1, "the logger's clock was wrong")):
        typed.setattr("sys.stdin", io.StringIO(PASSWORD + "\n"))
        path.write_bytes(run(offset=offset))
        assert _run(load.code, path, reason=reason) == 0
    with database.read() as session:
        (one,) = replacements(session, [load.id])[load.id]
    assert (one.signed_by, one.reason) == ("Mara Quill", "the logger's clock was wrong")
