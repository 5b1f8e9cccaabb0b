"""`python -m seed_demo`: fill the invented shop where needed, and serve it on this machine."""

import argparse
import hashlib
import json
import shutil
import socket
import time
from datetime import UTC, datetime
from pathlib import Path

import uvicorn

from app.cli.migrate import migrate
from app.database import Database
from app.main import create_app
from app.settings import Settings, shipped
from app.web.page import read_every_template
from seed_demo.live_run import LIVE_LOAD, TOKEN_FILE, go_on_sending, write_run_to_come
from seed_demo.scenario import PEOPLE, SHOP, SHOP_ZONE
from seed_demo.scenario_decided import LEFT_IN_RACK, RECALLED_BY, WAITING_ON
from seed_demo.scenario_loads import DRAFT_ON, TURN_ASKED_ON
from seed_demo.seeding import seed
from seed_demo.seeding_shop import PASSWORD
from seed_demo.waiting_files import write_waiting_files

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "var" / "demo"
FIRST_PORT = 8150
_PORTS_TRIED = 20
_KEPT_S = 86_400.0

TO_DO = (
    ("tashgill", "import {csv} for load L-211; then unwrap its panels"),
    ("imorrowby", f"watch load {LIVE_LOAD} grow: its logger sends now, and one sensor drifts"),
    ("pquennell", f"scan {DRAFT_ON} in your session at EC-6: what was keyed is still there"),
    ("imorrowby", "measure the coupons that wait, from {slip}, on both standards; TW-1062 again"),
    ("tashgill", "go on with the blind study of EC-5; read a baseline of TW-1069-A"),
    ("tashgill", "release panel TW-1064: its readings were taken by somebody else"),
    ("tashgill", "key CT-1 revision B a second time, without seeing the first entry"),
    ("vtolloway", f"answer for the design organisation what is proposed for {WAITING_ON}"),
    ("rhalvarth", "open a nonconformance of TW-1055 and propose its rework; answer the void"),
    (
        "rhalvarth",
        f"confirm or withdraw the recalled panels, once the hold on {RECALLED_BY} is lifted",
    ),
    ("awrayburn", f"lift the hold on {RECALLED_BY}; have {LEFT_IN_RACK} brought to quarantine"),
    ("rhalvarth", f"approve or decline the correction of {TURN_ASKED_ON} on its evidence"),
    ("rhalvarth", "decide about coupon TW-1052-B, which was not found, and the doubled TW-1055-B"),
    ("rhalvarth", "open the retest that TW-1048-A permits; its plan is fixed then"),
    ("rhalvarth", "verify KS-2 revision B, which was keyed twice"),
    ("obrantwood", "verify QT-31 revision C (what-if shows what it would change); accept RB-842"),
    ("skestle", "look at order HW-2207 and the table composed for it; at the chart of HB-2"),
    ("mdunfold", "an action of yours is overdue: Today says which"),
    ("jlindqvane", "review what came on the trail since the last review; check a signed head"),
    ("jlindqvane", "follow panel TW-1048 back to its furnace, readings and people"),
)
"""What a visitor can try: who signs in, and for what."""


def main() -> None:
    """Fill the demonstration unless one of the last day is there; then serve it until Ctrl-C."""
    asked = _asked()
    settings = Settings(
        demo=True,
        shop_name=SHOP,
        time_zone=SHOP_ZONE,
        database_url=f"sqlite:///{asked.folder / 'temperbook.sqlite'}",
    )
    why = "a fresh one was asked for" if asked.fresh else why_fill(asked.folder)
    if why is None:
        print("The demonstration is kept as it was left; --fresh begins it anew.")
    else:
        print(f"Filling a demonstration in {_shown(asked.folder)}: {why}.")
        fill(asked.folder, settings)
    if asked.seed_only:
        return
    port = free_port(asked.port)
    print(welcome(port, asked.folder))
    app = create_app(settings)
    read_every_template(app.state.templates)
    sender = go_on_sending(asked.folder / "files", port)
    try:
        uvicorn.run(app, host="127.0.0.1", port=port, log_level="warning")
    finally:
        if sender is not None:
            sender.terminate()
            sender.wait()


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m seed_demo", description=__doc__)
    parser.add_argument("--fresh", action="store_true", help="forget what was entered; begin anew")
    parser.add_argument("--seed-only", action="store_true", help="fill it, and serve nothing")
    parser.add_argument("--port", type=int, default=FIRST_PORT, help="first port to try")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="where it is kept")
    return parser.parse_args()


def why_fill(folder: Path) -> str | None:
    """Why a demonstration has to be filled in ``folder``; None where one of the last day is there.

    A filling that was broken off leaves no note behind, so it is begun again.
    """
    note = folder / "filled.json"
    if not note.exists() or not (folder / "temperbook.sqlite").exists():
        return "there is none yet"
    kept = json.loads(note.read_text(encoding="utf-8"))
    if kept["made_by"] != made_by():
        return "the one that is there was made by another version"
    if time.time() - kept["filled_at_s"] > _KEPT_S:
        return "the one that is there is more than a day old"
    return None


def fill(folder: Path, settings: Settings) -> None:
    """Clear ``folder`` of an earlier demonstration and fill a new one, a line for each load."""
    for name in ("filled.json", *(f"temperbook.sqlite{end}" for end in ("", "-wal", "-shm"))):
        (folder / name).unlink(missing_ok=True)
    for name in ("files", "uploads"):
        shutil.rmtree(folder / name, ignore_errors=True)
    folder.mkdir(parents=True, exist_ok=True)
    began, now = time.monotonic(), datetime.now(UTC)
    migrate(settings.database_url)
    database = Database(settings.database_url)
    files = folder / "files"
    files.mkdir()
    seed(
        database,
        settings,
        now,
        tell=lambda line: print(f"  {line}", flush=True),
        token_file=files / TOKEN_FILE,
    )
    database.close()
    write_waiting_files(files, now)
    write_run_to_come(files, now)
    note = {"filled_at_s": now.timestamp(), "made_by": made_by()}
    (folder / "filled.json").write_text(json.dumps(note), encoding="utf-8")
    print(f"Filled in {time.monotonic() - began:.0f} s.")


def made_by() -> str:
    """A digest of the migrations and of the scenario."""
    digest = hashlib.sha256()
    for source in (shipped("migrations") / "versions", Path(__file__).parent):
        for path in sorted(source.glob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()


def free_port(first: int) -> int:
    """The first port from ``first`` on that nobody listens on.

    Raises:
        SystemExit: twenty in a row are taken.
    """
    for port in range(first, first + _PORTS_TRIED):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
        return port
    last = first + _PORTS_TRIED - 1
    raise SystemExit(f"Ports {first} to {last} are all taken; name another with --port.")


def welcome(port: int, folder: Path) -> str:
    """The address, who can sign in, and what there is to try."""
    files = folder / "files"
    places = {"csv": _shown(files / "L-211.csv"), "slip": _shown(files / "bench-slip.txt")}
    lines = [
        "",
        f"Temperbook, {SHOP}: http://127.0.0.1:{port}/   (Ctrl-C stops it)",
        "",
        f"Everybody's password: {PASSWORD}",
        "",
        f"  {'user name':<12}{'name':<20}role",
    ]
    lines += [
        f"  {person.sign_in:<12}{person.name:<20}{', '.join(person.roles)}" for person in PEOPLE
    ]
    lines += ["", "Left to do:"]
    lines += [f"  {who:<12}{what.format(**places)}" for who, what in TO_DO]
    return "\n".join(lines) + "\n"


def _shown(path: Path) -> str:
    """The path from here, where it lies below."""
    here = Path.cwd()
    return str(path.relative_to(here) if path.is_relative_to(here) else path)


if __name__ == "__main__":
    main()
