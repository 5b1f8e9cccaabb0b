"""Files and figures that cannot be taken, over HTTP: one sentence that says what, where and what
to do; what was chosen stays chosen; nothing is kept.
"""

import http.client
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from app.database import Database
from app.main import create_app
from app.settings import Settings
from tests.bench.bench_makers import Bench
from tests.loads.logger_files import run
from tests.makers import Shop
from tests.robustness.whole_record import contents, moved
from tests.speed.pages_served import open_now, papers_for_long, readings_form
from tests.speed.serving import Caller, Server, form_of, multipart
from tests.visits import PASSWORD, Visit, words


@pytest.fixture
def uploads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where this test's files wait."""
    folder = tmp_path / "uploads"
    monkeypatch.setenv("TEMPERBOOK_UPLOAD_FOLDER", str(folder))
    return folder


@pytest.fixture
def visit(uploads: Path, database: Database, database_url: str) -> Iterator[Visit]:
    app = create_app(Settings(database_url=database_url, upload_folder=uploads))
    with Visit(app) as opened:
        yield opened


def _lines(content: bytes) -> list[bytes]:
    return content.splitlines(keepends=True)


def _with_cell(row: int, column: int, cell: str) -> bytes:
    """The good file with one cell changed; the header is row 1."""
    lines = _lines(run())
    cells = lines[row - 1].rstrip(b"\n").split(b",")
    cells[column] = cell.encode()
    lines[row - 1] = b",".join(cells) + b"\n"
    return b"".join(lines)


def _swapped(row: int) -> bytes:
    """The good file with a row and the next one in the wrong order."""
    lines = _lines(run())
    lines[row - 1], lines[row] = lines[row], lines[row - 1]
    return b"".join(lines)


def _days_that_could_be_two() -> bytes:
    """The good file with days as 02/03/2026."""
    return re.sub(rb"2026-03-02T(\d\d:\d\d:\d\d)\+00:00", rb"02/03/2026 \1", run())


def _without_times() -> bytes:
    """The good file without its first column."""
    return b"".join(line.partition(b",")[2] for line in _lines(run()))


def _elapsed(changed: Mapping[int, str]) -> bytes:
    """The good file with elapsed seconds; some rows' seconds changed."""
    first, *rest = _lines(run())
    rows = [
        changed.get(row, str(60 * (row - 2))).encode() + b"," + line.partition(b",")[2]
        for row, line in enumerate(rest, start=2)
    ]
    return b"".join([first.replace(b"time", b"time_s"), *rows])


BINARY = b"PK\x03\x04" + bytes(range(256)) * 40

AT_ONCE = {
    "empty": (b"", r"run\.csv.*empty"),
    "blank": (b"\n  \n\n", r"run\.csv.*empty"),
    "binary": (BINARY, r"run\.csv.*damaged XLSX file"),
    "header only": (
        _lines(run())[0],
        r"run\.csv, row 1: no row of readings follows it \(time, TC1, .*; export the run again",
    ),
    "no time column": (_without_times(), r"run\.csv: none of its columns \(TC1, TC2, VAC\)"),
}
"""Files that are refused as soon as they are looked at, and what is said."""

WHEN_READ = {
    "text in a number": (_with_cell(100, 1, "12o.5"), r"run\.csv, row 100.*TC1.*12o\.5"),
    "days that could be two": (_days_that_could_be_two(), r"run\.csv, row 2.*(02/03/2026|order)"),
    "column twice": (run().replace(b"TC2", b"TC1", 1), r"run\.csv, row 1: there is no column TC2"),
    "a later day that could be two": (
        _with_cell(200, 0, "02/03/2026 09:18:00"),
        r"run\.csv, row 200.*02/03/2026",
    ),
    "decreasing times": (_swapped(150), r"run\.csv, row 151.*(before|later|after|earlier|increas)"),
    "decreasing seconds": (_elapsed({5: "30"}), r"run\.csv, row 5.*30"),
    "seconds that are text": (_elapsed({120: "soon"}), r"run\.csv, row 120.*soon"),
    "a row cut short": (
        b"".join([*_lines(run())[:180], b"2026-03-02T08:59:00+00:00,150.0\n"]),
        r"run\.csv, row 181",
    ),
    "infinite": (_with_cell(60, 2, "inf"), r"run\.csv, row 60.*TC2"),
}
"""Files that look right at first, and what is said when they are read whole."""


def _shown_problem(text: str) -> str:
    """The words in the page's box of problems."""
    found = re.search(r'<div class="problem".*?</div>', text, re.DOTALL)
    assert found, words(text)[:800]
    return " ".join(words(found[0]).split())


@pytest.mark.parametrize("kind", AT_ONCE)
def test_a_file_that_is_none_is_refused_at_the_first_look(
    database: Database, visit: Visit, uploads: Path, kind: str
) -> None:
    content, said = AT_ONCE[kind]
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    before = contents(database)
    answer = visit.post(
        f"/loads/{load.code}/record", files={"file": ("run.csv", content, "text/csv")}
    )
    assert answer.status_code == 422
    assert re.search(said, _shown_problem(answer.text)), _shown_problem(answer.text)
    assert moved(before, contents(database)) == []
    assert not uploads.exists() or list(uploads.iterdir()) == [], "the refused file is still there"


@pytest.mark.parametrize("kind", WHEN_READ)
def test_a_fault_inside_a_file_is_named_by_row_and_the_choices_stay(
    database: Database, visit: Visit, kind: str
) -> None:
    content, said = WHEN_READ[kind]
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    record = f"/loads/{load.code}/record"
    sent = visit.post(record, files={"file": ("run.csv", content, "text/csv")})
    chosen = form_of(visit.follow(sent).text, f"{record}/keep")
    # Something a person chose against the guess must not be put back to it.
    chosen |= {"temperature_unit": "F", "column:TC1": "TC2", "column:TC2": "TC1"}
    before = contents(database)
    answer = visit.post(f"{record}/keep", **chosen)
    assert answer.status_code == 422
    assert re.search(said.replace("TC1", "TC[12]"), _shown_problem(answer.text)), _shown_problem(
        answer.text
    )
    assert form_of(answer.text, f"{record}/keep") == chosen
    assert moved(before, contents(database)) == []
    assert visit.follow(sent).status_code == 200, "the file still waits"


def test_a_required_channel_without_a_column_is_named(database: Database, visit: Visit) -> None:
    load, *_ = Shop(database).panel_in_load()
    visit.sign_in("mara")
    record = f"/loads/{load.code}/record"
    content = run(sensors=("TC1", "OTHER"))
    sent = visit.post(record, files={"file": ("run.csv", content, "text/csv")})
    chosen = form_of(visit.follow(sent).text, f"{record}/keep")
    before = contents(database)
    answer = visit.post(f"{record}/keep", **chosen)
    assert answer.status_code == 422
    assert "Say which column holds TC2" in _shown_problem(answer.text)
    assert moved(before, contents(database)) == []


def test_a_file_over_the_limit_is_refused_with_its_name_and_the_limit(
    database: Database, database_url: str, uploads: Path
) -> None:
    load, *_ = Shop(database).panel_in_load()
    settings = Settings(database_url=database_url, upload_folder=uploads, upload_limit_mb=1)
    with Visit(create_app(settings)) as visit:
        visit.sign_in("mara")
        before = contents(database)
        # Just over the limit: the form as a whole is not yet too large, its file is.
        content = run() + b"\n" * (1_000_001 - len(run()))
        record = f"/loads/{load.code}/record"
        answer = visit.post(record, files={"file": ("run.csv", content, "text/csv")})
        assert answer.status_code == 422
        assert re.search(r"run\.csv.*1 MB", _shown_problem(answer.text))
        larger = visit.post(record, files={"file": ("run.csv", content * 2, "text/csv")})
        assert larger.status_code == 422
        assert re.search(r"2 MB.*up to 1 MB are taken", words(larger.text))
    assert moved(before, contents(database)) == []
    assert not uploads.exists() or list(uploads.iterdir()) == []


def test_two_hundred_megabytes_are_refused_in_a_sentence_and_the_server_stays_small(
    sqlite_url: str, tmp_path: Path
) -> None:
    database = Database(sqlite_url)
    load, *_ = Shop(database).panel_in_load()
    before = contents(database)
    with (
        Server(sqlite_url, upload_folder=str(tmp_path / "uploads")) as server,
        Caller(server.port) as caller,
    ):
        caller.sign_in("mara")
        at_rest = server.peak_mb
        answer = caller.upload(
            f"/loads/{load.code}/record", multipart(caller.csrf, "run.csv", b"1,2,3\n" * 33_400_000)
        )
        assert answer.status == 422
        assert re.search(r"200 MB.*up to 128 MB are taken", words(answer.text))
        assert server.peak_mb < at_rest + 60
    # Only the sign-in.
    assert set(moved(before, contents(database))) <= {"trail_entry", "known_browser"}
    database.close()


def test_a_file_that_stops_half_way_leaves_nothing(sqlite_url: str, tmp_path: Path) -> None:
    database = Database(sqlite_url)
    load, *_ = Shop(database).panel_in_load()
    uploads = tmp_path / "uploads"
    with Server(sqlite_url, upload_folder=str(uploads)) as server, Caller(server.port) as caller:
        caller.sign_in("mara")
        before = contents(database)
        body = multipart(caller.csrf, "run.csv", run())
        broken = http.client.HTTPConnection("127.0.0.1", server.port)
        broken.putrequest("POST", f"/loads/{load.code}/record")
        broken.putheader("Cookie", caller.cookie)
        broken.putheader("Content-Type", caller.multipart_kind)
        broken.putheader("Content-Length", str(len(body)))
        broken.endheaders()
        broken.send(body[: len(body) // 2])
        broken.close()
        assert caller.get("/loads").status == 200, "the server goes on"
    assert moved(before, contents(database)) == []
    assert not uploads.exists() or list(uploads.iterdir()) == []
    database.close()


@pytest.mark.parametrize(
    ("coupon", "values", "status", "said"),
    [
        pytest.param("C-0001-1", ("8.52", "85.0", "85.5"), 422, r"8\.52.*85\.2", id="slip"),
        pytest.param("C-0001-1", ("eighty", "85.0", "85.5"), 422, r"eighty.*number", id="text"),
        pytest.param(
            "C-9999-9", ("84.5", "85.0", "85.5"), 404, r"No coupon C-9999-9", id="unknown"
        ),
        pytest.param("P-0001", ("84.5", "85.0", "85.5"), 404, r"P-0001 is a panel", id="panel"),
    ],
)
def test_a_figure_or_coupon_that_cannot_be_stays_typed_and_is_not_kept(
    database: Database, visit: Visit, coupon: str, values: tuple[str, ...], status: int, said: str
) -> None:
    bench = Bench(database)
    papers_for_long(database, bench.shop)
    bench.coupon()
    number = open_now(database, bench.shop)
    visit.sign_in("mara")
    before = contents(database)
    form = readings_form(coupon, "the form", values)
    answer = visit.post(f"/bench/sessions/{number}/readings", **form)
    assert answer.status_code == status
    shown = " ".join(words(answer.text).split())
    assert re.search(said, shown), shown[:1500]
    if coupon == "C-0001-1":
        again = form_of(answer.text, f"/bench/sessions/{number}/readings")
        assert {name: again.get(name) for name in form} == form
    assert moved(before, contents(database)) == []
    assert PASSWORD not in answer.text
