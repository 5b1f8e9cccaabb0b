"""Measure what must hold, each figure beside its limit; exit 1 where one is missed."""

import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from app.cli.migrate import migrate
from app.database import Database
from tests.speed import furnace_import, many_people, pages_of_many, pages_served
from tests.speed.serving import Server

KEPT_TIMES_BARE = 4.0
"""Most: a day's record on disk read, judged and kept, in bare parses of it by polars."""
SHOWN_TIMES_BARE = 10.0
"""Most: the same from upload, over preview, to the verdict on the page."""
SERVER_MB = 600.0
"""Most memory of the server while it imports."""
SLOWEST_SAVE_S = 0.150
"""Most: the ninety-ninth of a hundred saves while fifty people log at once."""
COMMIT_SHARE = 0.40
"""Least: saves committed a second, as a share of the database's bare rate for the same rows."""
DOSSIER_SHARE = 0.25
"""Least: dossiers a second, as a share of bare pages a second."""

PAGE_TIMES = {
    "a load": 1.3,
    "a panel's dossier": 1.3,
    "the loads": 1.3,
    "the panels": 1.3,
    "Today": 1.5,
    "a furnace": 1.3,
}
"""Most: a page in a shop of ten thousand loads, in the same pages in a shop of a hundred."""


@dataclass(frozen=True, slots=True)
class Line:
    """One figure; ``limit`` in words where one must hold, and whether it does."""

    name: str
    figure: str
    limit: str = ""
    holds: bool = True


def _fresh(folder: Path, name: str) -> str:
    """The address of a new SQLite database with its tables, in a folder of its own."""
    (folder / name).mkdir()
    url = f"sqlite:///{folder / name / 'temperbook.sqlite'}"
    migrate(url)
    return url


def _ratio(ratio: float, library: str, most: float) -> Line:
    """How many bare parses it is; the limit is in those by polars."""
    name = f"  in bare parses by {library}"
    if library != "polars":
        return Line(name, f"{ratio:.1f}")
    return Line(name, f"{ratio:.1f}", f"at most {most:g}", ratio <= most)


def _import_lines(folder: Path) -> Iterator[Line]:
    url = _fresh(folder, "import")
    codes = furnace_import.make_loads(url)
    paths = furnace_import.write_records(folder, codes)
    size = paths[0].stat().st_size / 1e6
    bare = furnace_import.bare_parse_s(paths[0])
    with Server(url) as server:
        taken = furnace_import.imports(server, codes, paths)
        peak = server.peak_mb
    middle = furnace_import.median_of(taken)
    for library, seconds in bare.items():
        yield Line(f"bare parse of {size:.1f} MB by {library}, best of 5", _ms(seconds))
    kept_s = furnace_import.kept_s(_fresh(folder, "kept"), folder)
    yield Line("a file on disk read, judged and kept, best of 5", _ms(kept_s))
    for library, seconds in bare.items():
        yield _ratio(kept_s / seconds, library, KEPT_TIMES_BARE)
    for part in ("upload", "preview", "keep", "page"):
        yield Line(f"  {part}", _ms(getattr(middle, f"{part}_s")))
    yield Line("upload to verdict on the page, median of 3", _ms(middle.whole_s))
    yield Line("  the first one after the server's start", _ms(taken[0].whole_s))
    for library, seconds in bare.items():
        yield _ratio(middle.whole_s / seconds, library, SHOWN_TIMES_BARE)
    limit = f"under {SERVER_MB:g} MB"
    yield Line("the server's peak memory", f"{peak:.0f} MB", limit, peak < SERVER_MB)


def _dossier_lines(folder: Path) -> Iterator[Line]:
    url = _fresh(folder, "dossier")
    database = Database(url)
    shop, code = pages_served.make_released_panel(database)
    with Server(url) as server, pages_served.bare_page(folder) as port:
        rates = [
            (pages_served.dossier_rate(server, code), pages_served.bare_rate(port))
            for _ in range(pages_served.ROUNDS)
        ]
        anew_s, alone_s = pages_served.opened_anew(server, shop, code, port)
    database.close()
    dossier, bare = (statistics.median(rate) for rate in zip(*rates, strict=True))
    share = dossier / bare
    yield Line("bare page, three tables, 30 rows", f"{bare:.0f} /s")
    yield Line("dossier, 4 coupons of 6 readings", f"{dossier:.0f} /s")
    yield Line(
        "  as a share of the bare page",
        f"{share:.2f}",
        f"at least {DOSSIER_SHARE:g}",
        share >= DOSSIER_SHARE,
    )
    yield Line("bare page, one reader", _ms(alone_s))
    yield Line("dossier, one reader, after an act elsewhere", _ms(anew_s))
    share = alone_s / anew_s
    yield Line("  bare page's time as a share of it", f"{share:.2f}")


def _many_lines(folder: Path) -> Iterator[Line]:
    few, many = f"{pages_of_many.FEW}", f"{pages_of_many.MANY:,}"
    urls = _fresh(folder, "few"), _fresh(folder, "many")
    for page in pages_of_many.pages_beside(*urls):
        times = f"{page.few_s * 1000:.1f} and {page.many_s * 1000:.1f}"
        yield Line(f"{page.page}, {few} and {many} loads on record", f"{times} ms")
        most = PAGE_TIMES.get(page.page)
        if most is not None:
            held = page.ratio <= most
            yield Line("  the many beside the few", f"{page.ratio:.2f}", f"at most {most:g}", held)
        else:
            yield Line("  the many beside the few", f"{page.ratio:.2f}")
        counts = page.few_statements, page.many_statements
        told = f"{counts[0]} and {counts[1]}"
        yield Line("  its queries", told, "the same", counts[0] == counts[1])


def _people_lines(folder: Path) -> Iterator[Line]:
    within = folder / "people"
    within.mkdir()
    with many_people.places(within) as places:
        for place in places:
            saves = many_people.saves_at_once(place)
            slowest, limit = saves.slowest, f"under {_ms(SLOWEST_SAVE_S)}"
            yield Line(
                f"{place.kind}: {many_people.PEOPLE} people, a save, median",
                _ms(statistics.median(saves.save_s)),
            )
            held = slowest < SLOWEST_SAVE_S
            yield Line("  the slowest in a hundred", _ms(slowest), limit, held)
            shown_s = statistics.median(saves.shown_s)
            yield Line("  and with the page after it, median", _ms(shown_s))
            rates = many_people.commits(place)
            yield Line(f"{place.kind}: the same rows added bare", f"{rates.bare:.0f} /s")
            yield Line("  saves by four threads", f"{rates.own:.0f} /s")
            yield Line(
                "  as a share of the bare rate",
                f"{rates.share:.2f}",
                f"at least {COMMIT_SHARE:g}",
                rates.share >= COMMIT_SHARE,
            )


def _other_lines(folder: Path) -> Iterator[Line]:
    counts = pages_served.list_queries(_fresh(folder, "lists"))
    for address, (ten, twenty) in counts.items():
        told = f"{ten} and {twenty}"
        yield Line(f"queries of {address} at 10 and 20 rows", told, "the same", ten == twenty)
    url = _fresh(folder, "bench")
    database = Database(url)
    number, coupons = pages_served.make_bench(database)
    database.close()
    with Server(url) as server:
        taken = pages_served.saves(server, number, coupons)
    yield Line("three readings saved and judged, median", _ms(statistics.median(taken)))
    yield Line("  the slowest in a hundred", _ms(taken[int(len(taken) * 0.99)]))


def _ms(seconds: float) -> str:
    return f"{seconds * 1000:.3g} ms"


def main() -> int:
    """Print every figure; 1 where a limit is missed."""
    began = time.perf_counter()
    missed = 0
    with tempfile.TemporaryDirectory(prefix="temperbook-speed-") as name:
        for lines in (_import_lines, _dossier_lines, _many_lines, _people_lines, _other_lines):
            for line in lines(Path(name)):
                verdict = "" if not line.limit else "holds" if line.holds else "MISSED"
                missed += not line.holds
                sys.stdout.write(f"{line.name:52} {line.figure:>12}  {line.limit:16} {verdict}\n")
            sys.stdout.flush()
    sys.stdout.write(f"measured in {time.perf_counter() - began:.0f} s\n")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
