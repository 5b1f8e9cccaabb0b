"""Files that wait, looked at: no row is cut, and no form of another page brings one in."""

from pathlib import Path

from app.database import Database
from app.loads.importing.look import glimpse
from tests.loads.logger_files import run
from tests.makers import Shop
from tests.visits import Visit, words


def test_a_glimpse_of_a_large_file_has_whole_rows_only(tmp_path: Path) -> None:
    head, *rows = run().splitlines(keepends=True)
    long = head + b"".join(rows) * 40
    path = tmp_path / "waiting"
    path.write_bytes(long)
    seen = glimpse(path, "run.csv")
    whole = set(long.splitlines(keepends=True))
    assert len(seen.ends.content) < len(long) / 2
    assert set(seen.ends.content.splitlines(keepends=True)) <= whole
    assert set(seen.head.content.splitlines(keepends=True)) <= whole
    assert seen.ends.content.endswith(rows[-1])
    assert long.startswith(seen.head.content)


def test_a_file_without_line_ends_is_seen_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "waiting"
    path.write_bytes(b"1" * 300_000)
    assert glimpse(path, "x").ends.content == b"1" * 300_000


def test_a_file_from_a_form_of_another_page_is_refused_and_not_written(
    database: Database, visit: Visit, tmp_path: Path
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    for token in ({}, {"csrf": "0" * 64}):
        answer = visit.client.post(
            f"/loads/{load.code}/record",
            data=token,
            files={"file": ("run.csv", run(), "text/csv")},
        )
        assert answer.status_code == 422
        assert "This page was open since before you signed in" in words(answer.text)
    foreign = visit.client.post(
        f"/loads/{load.code}/record",
        data={"csrf": visit.csrf()},
        files={"file": ("run.csv", run(), "text/csv")},
        headers={"sec-fetch-site": "cross-site"},
    )
    assert "another site" in words(foreign.text)
    assert not list(tmp_path.rglob("*.bytes"))


def test_a_form_that_breaks_off_is_said_so_and_leaves_nothing(
    database: Database, visit: Visit, tmp_path: Path
) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    body = (
        f'--x\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n{visit.csrf()}\r\n'
        '--x\r\nContent-Disposition: form-data; name="file"; filename="run.csv"\r\n\r\ntime,TC1'
    )
    answer = visit.client.post(
        f"/loads/{load.code}/record",
        content=body.encode(),
        headers={"content-type": "multipart/form-data; boundary=x"},
    )
    assert answer.status_code == 422
    assert "arrived broken" in words(answer.text)
    assert not list(tmp_path.rglob("*.bytes"))
