"""Files that were sent but not yet kept: a folder on disk, so that they survive a restart.

Nothing here is part of the record. An upload goes when it is kept, or a day after it came.
"""

import hashlib
import json
import re
import secrets
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import BinaryIO

from sqlalchemy.engine import make_url

from app.errors import NotFound, Refusal
from app.settings import Settings

_KEPT_S = 86_400.0
_CHUNK = 1 << 20
_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that waits to be kept. ``token`` is its secret name."""

    token: str
    load_code: str
    person_id: int
    file_name: str
    size_bytes: int
    sha256: str


def upload_folder(settings: Settings) -> Path:
    """Where uploads wait: as set, else beside the SQLite file, else ``var/uploads``."""
    if settings.upload_folder is not None:
        return settings.upload_folder
    url = make_url(settings.database_url)
    on_disk = url.get_backend_name() == "sqlite" and url.database not in (None, "", ":memory:")
    return Path(url.database or "").parent / "uploads" if on_disk else Path("var/uploads")


class Uploads:
    """The waiting files in one folder."""

    def __init__(self, folder: Path, *, limit_bytes: int) -> None:
        self._folder = folder
        self._limit_bytes = limit_bytes

    def take(
        self, source: BinaryIO, *, file_name: str, load_code: str, person_id: int, now_s: float
    ) -> Upload:
        """Keep the bytes under a new secret name, their digest taken while they are copied.

        ``now_s`` is the clock in seconds since 1970; uploads a day older than it are dropped.

        Raises:
            Refusal: the file is larger than is taken.
        """
        self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._drop_old(now_s)
        token = secrets.token_urlsafe(24)
        digest, size = hashlib.sha256(), 0
        try:
            with self._path(token).open("wb") as target:
                while chunk := source.read(_CHUNK):
                    size += len(chunk)
                    self._refuse_too_large(size, file_name)
                    digest.update(chunk)
                    target.write(chunk)
            upload = Upload(token, load_code, person_id, file_name[:200], size, digest.hexdigest())
            # The note comes last and at once: an upload without its note was never finished.
            unfinished = self._note(token).with_suffix(".part")
            unfinished.write_text(json.dumps(asdict(upload)), encoding="utf-8")
            unfinished.replace(self._note(token))
        except BaseException:
            self.drop(token)
            raise
        return upload

    def find(self, token: str, *, load_code: str, person_id: int) -> Upload:
        """The waiting file of that name.

        Raises:
            NotFound: there is none, or it is another person's or for another load.
        """
        gone = NotFound(
            "That file is no longer here: it was kept already, or a day has passed. Choose the "
            "file again."
        )
        if not _TOKEN.fullmatch(token):
            raise gone
        try:
            upload = Upload(**json.loads(self._note(token).read_text(encoding="utf-8")))
        except FileNotFoundError:
            raise gone from None
        if upload.load_code != load_code or upload.person_id != person_id:
            raise gone
        return upload

    def path(self, upload: Upload) -> Path:
        """Where the bytes are."""
        return self._path(upload.token)

    def drop(self, token: str) -> None:
        """Forget a waiting file; nothing happens where it has gone already."""
        for path in (
            self._note(token),
            self._path(token),
            self._note(token).with_suffix(".part"),
        ):
            path.unlink(missing_ok=True)

    def _path(self, token: str) -> Path:
        return self._folder / f"{token}.csv"

    def _note(self, token: str) -> Path:
        return self._folder / f"{token}.json"

    def _refuse_too_large(self, size: int, file_name: str) -> None:
        if size > self._limit_bytes:
            sentence = (
                f"{file_name}: it is larger than {self._limit_bytes / 1e6:g} MB, the most that is "
                "taken; export one run only, or fewer columns."
            )
            raise Refusal(sentence, fields={"file": sentence})

    def _drop_old(self, now_s: float) -> None:
        for path in self._folder.iterdir():
            came_s = path.stat().st_mtime if path.exists() else now_s
            if now_s - came_s > _KEPT_S:
                path.unlink(missing_ok=True)
