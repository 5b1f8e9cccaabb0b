"""Uploads of these tests wait in the test's own folder."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _own_upload_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TEMPERBOOK_UPLOAD_FOLDER", str(tmp_path / "uploads"))
