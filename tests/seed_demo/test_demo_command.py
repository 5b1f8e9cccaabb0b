"""`python -m seed_demo`: when a demonstration is filled anew, and where it is served."""

import json
import re
import socket
import time
from pathlib import Path

import pytest

from app.settings import Settings
from seed_demo import __main__ as command
from seed_demo.scenario import PEOPLE
from seed_demo.scenario_loads import LOADS


def noted(folder: Path, *, age_s: float = 0.0, made_by: str | None = None) -> None:
    """A folder as a finished filling leaves it, but for what is in the records."""
    (folder / "temperbook.sqlite").touch()
    note = {
        "filled_at_s": time.time() - age_s,
        "made_by": command.made_by() if made_by is None else made_by,
    }
    (folder / "filled.json").write_text(json.dumps(note))


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    assert command.why_fill(tmp_path) == "there is none yet"


def test_one_of_today_is_kept(tmp_path: Path) -> None:
    noted(tmp_path, age_s=3600)
    assert command.why_fill(tmp_path) is None


def test_one_of_the_day_before_yesterday_is_filled_anew(tmp_path: Path) -> None:
    noted(tmp_path, age_s=2 * 86_400)
    assert "more than a day old" in str(command.why_fill(tmp_path))


def test_one_of_other_tables_is_filled_anew(tmp_path: Path) -> None:
    noted(tmp_path, made_by="an earlier version")
    assert "another version" in str(command.why_fill(tmp_path))


def test_a_filling_that_was_broken_off_is_begun_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_off(*_args: object, **_kept: object) -> None:
        raise KeyboardInterrupt

    noted(tmp_path)
    monkeypatch.setattr(command, "seed", break_off)
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'temperbook.sqlite'}", demo=True)
    with pytest.raises(KeyboardInterrupt):
        command.fill(tmp_path, settings)
    assert (tmp_path / "temperbook.sqlite").exists()
    assert command.why_fill(tmp_path) == "there is none yet"


def test_a_taken_port_is_passed_over() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        first = taken.getsockname()[1]
        assert first < command.free_port(first) < first + 20


def test_the_welcome_names_everybody_and_only_what_there_is(tmp_path: Path) -> None:
    welcome = command.welcome(8150, tmp_path)
    assert "http://127.0.0.1:8150/" in welcome
    for person in PEOPLE:
        assert person.sign_in in welcome
        assert person.name in welcome
    assert {who for who, _ in command.TO_DO} < {person.sign_in for person in PEOPLE}
    panels = [panel for load in LOADS for panel in load.panels]
    known = {load.number for load in LOADS} | {panel.number for panel in panels}
    known |= {panel.coupon_code(coupon) for panel in panels for coupon in panel.coupons}
    told = set(re.findall(r"\b(?:L-\d+|TW-\d+(?:-[A-Z])?)(?![.\w])", welcome))
    assert {"L-211", "TW-1064", "TW-1048", "TW-1061-B", "TW-1052-B"} <= told <= known
