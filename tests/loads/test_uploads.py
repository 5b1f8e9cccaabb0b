"""Uploads wait on disk, for a day, for their own person and load."""

import hashlib
import io
import os
import time
from pathlib import Path

import pytest

from app.errors import NotFound, Refusal
from app.loads.importing.uploads import Upload, Uploads, upload_folder
from app.settings import Settings

NOW_S = time.time()


def _take(folder: Path, content: bytes = b"time,TC1\n", **given: object) -> Upload:
    asked = {"file_name": "run.csv", "load_code": "L-1", "person_id": 7, "now_s": NOW_S, **given}
    return Uploads(folder, limit_bytes=1000).take(io.BytesIO(content), **asked)  # type: ignore[arg-type]


def test_an_upload_is_found_again_by_another_process(tmp_path: Path) -> None:
    taken = _take(tmp_path / "up", b"time,TC1\n1,2\n")
    again = Uploads(tmp_path / "up", limit_bytes=1000)
    found = again.find(taken.token, load_code="L-1", person_id=7)
    assert found == taken
    assert again.path(found).read_bytes() == b"time,TC1\n1,2\n"
    assert found.sha256 == hashlib.sha256(b"time,TC1\n1,2\n").hexdigest()


@pytest.mark.parametrize(
    ("load_code", "person_id"), [("L-2", 7), ("L-1", 8)], ids=["another load", "another person"]
)
def test_an_upload_is_its_persons_and_loads_own(
    tmp_path: Path, load_code: str, person_id: int
) -> None:
    taken = _take(tmp_path)
    with pytest.raises(NotFound, match="Choose the file again"):
        Uploads(tmp_path, limit_bytes=9).find(taken.token, load_code=load_code, person_id=person_id)


@pytest.mark.parametrize("token", ["", "../../etc/passwd", "x" * 32, "a/b"])
def test_a_name_that_is_none_finds_nothing(tmp_path: Path, token: str) -> None:
    with pytest.raises(NotFound):
        Uploads(tmp_path, limit_bytes=9).find(token, load_code="L-1", person_id=7)


def test_a_file_too_large_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match=r"run\.csv: it is larger than 0\.001 MB"):
        _take(tmp_path, b"x" * 1001)
    assert list(tmp_path.iterdir()) == []


def test_an_upload_goes_after_a_day_and_when_it_is_dropped(tmp_path: Path) -> None:
    old, young = _take(tmp_path), _take(tmp_path)
    for path in tmp_path.glob(f"{old.token}*"):
        os.utime(path, (NOW_S - 86_401, NOW_S - 86_401))
    _take(tmp_path)
    uploads = Uploads(tmp_path, limit_bytes=9)
    with pytest.raises(NotFound):
        uploads.find(old.token, load_code="L-1", person_id=7)
    uploads.find(young.token, load_code="L-1", person_id=7)
    uploads.drop(young.token)
    uploads.drop(young.token)
    with pytest.raises(NotFound):
        uploads.find(young.token, load_code="L-1", person_id=7)


def test_uploads_wait_beside_the_sqlite_file_unless_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TEMPERBOOK_UPLOAD_FOLDER")
    beside = Settings(database_url=f"sqlite:///{tmp_path}/shop.sqlite")
    assert upload_folder(beside) == tmp_path / "uploads"
    assert upload_folder(Settings(database_url="postgresql://x/y")) == Path("var/uploads")
    told = Settings(database_url="postgresql://x/y", upload_folder=tmp_path / "z")
    assert upload_folder(told) == tmp_path / "z"
