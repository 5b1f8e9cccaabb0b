"""`pip install .` gives a program that migrates and serves from anywhere."""

import os
import re
import socket
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

ROOT = Path(__file__).parent.parent
_RUN = "import sys; from app.cli import main; sys.argv[0] = 'temperbook'; main()"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel of this checkout, unpacked as an installer would."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "wheel",
            "--quiet",
            "--no-deps",
            "--no-build-isolation",
            "--disable-pip-version-check",
            "--wheel-dir",
            folder,
            ROOT,
        ],
        check=True,
        capture_output=True,
    )
    (wheel,) = folder.glob("temperbook-*.whl")
    target = folder / "site"
    zipfile.ZipFile(wheel).extractall(target)
    return target


def _environment(installed: Path, tmp_path: Path) -> dict[str, str]:
    return {
        **os.environ,
        "PYTHONPATH": str(installed),
        "TEMPERBOOK_DATABASE_URL": f"sqlite:///{tmp_path}/kept/temperbook.sqlite",
    }


def _temperbook(
    installed: Path, tmp_path: Path, *words: str, typed: str = ""
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", _RUN, *words],
        cwd=tmp_path,
        env=_environment(installed, tmp_path),
        input=typed,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.fixture
def served(installed: Path, tmp_path: Path) -> Iterator[str]:
    """The address of a program served from the wheel, with one account."""
    assert _temperbook(installed, tmp_path, "migrate").returncode == 0
    added = _temperbook(
        installed,
        tmp_path,
        "user",
        "add",
        "ada",
        "--name",
        "Ada Loom",
        "--number",
        "W-2041",
        "--role",
        "administrator",
        typed="a long enough password\n",
    )
    assert added.returncode == 0, added.stderr
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-c", _RUN, "serve", "--port", str(port)],
        cwd=tmp_path,
        env=_environment(installed, tmp_path),
        stdout=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    for _ in range(200):
        try:
            httpx.get(f"{address}/sign-in")
            break
        except httpx.TransportError:
            time.sleep(0.05)
    yield address
    server.terminate()
    server.wait(10)


def test_templates_migrations_and_static_files_are_in_the_wheel(installed: Path) -> None:
    for part in ("templates/base.html", "migrations/env.py", "static/css/tokens.css"):
        assert (installed / "app" / part).is_file(), part
    assert list((installed / "app" / "migrations" / "versions").glob("*.py"))


def test_the_wheel_serves_its_pages_and_signs_the_first_person_in(served: str) -> None:
    with httpx.Client(base_url=served) as browser:
        page = browser.get("/sign-in")
        assert page.status_code == 200
        for asset in re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text):
            assert browser.get(asset).status_code == 200, asset
        answer = browser.post(
            "/sign-in", data={"username": "ada", "password": "a long enough password"}
        )
        assert answer.status_code == 303
        assert browser.get("/").status_code == 200


def test_serving_an_empty_database_says_to_migrate_first(installed: Path, tmp_path: Path) -> None:
    answer = _temperbook(installed, tmp_path, "serve")
    assert answer.returncode == 2
    assert "temperbook migrate" in answer.stderr
    assert "Traceback" not in answer.stderr


def test_an_unknown_role_is_one_sentence_and_exit_2(installed: Path, tmp_path: Path) -> None:
    _temperbook(installed, tmp_path, "migrate")
    answer = _temperbook(
        installed,
        tmp_path,
        "user",
        "add",
        "x",
        "--name",
        "X",
        "--number",
        "W-1",
        "--role",
        "wizard",
        typed="\n",
    )
    assert answer.returncode == 2
    assert answer.stderr.startswith("'wizard' is no role")
    assert answer.stderr.count("\n") == 1
