"""Files that were sent but not yet kept: a folder on disk, so that they survive a restart.

Nothing here is part of the record. An upload goes when it is kept, or a day after it came. Its
digest is taken as its bytes arrive, and it is compressed while a person looks at it.
"""

import hashlib
import json
import re
import secrets
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import BinaryIO

from sqlalchemy.engine import make_url

from app.errors import NotFound, Refusal
from app.loads.picture import Shelf
from app.loads.trace_store import pack_path
from app.settings import Settings

_KEPT_S = 86_400.0
_CHUNK = 1 << 20
_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")
_packer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="pack")
_packed: Shelf[Future[bytes]] = Shelf(8)


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

    def begin(
        self, file_name: str, *, load_code: str, person_id: int, now_s: float
    ) -> "ArrivingFile":
        """A new waiting file, to be written as its bytes arrive.

        ``now_s`` is the clock in seconds since 1970; uploads a day older than it are dropped.
        """
        self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._drop_old(now_s)
        name = file_name.replace("\\", "/").rsplit("/", 1)[-1][:200]
        owner = (load_code, person_id)
        return ArrivingFile(self, name, owner, limit_bytes=self._limit_bytes)

    def take(
        self, source: BinaryIO, *, file_name: str, load_code: str, person_id: int, now_s: float
    ) -> Upload:
        """Keep the bytes under a new secret name, their digest taken while they are copied.

        Raises:
            Refusal: the file is larger than is taken.
        """
        arriving = self.begin(file_name, load_code=load_code, person_id=person_id, now_s=now_s)
        try:
            while chunk := source.read(_CHUNK):
                arriving.write(chunk)
            return arriving.finish()
        except BaseException:
            arriving.drop()
            raise

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
            upload = Upload(**json.loads(self.note_of(token).read_text(encoding="utf-8")))
        except FileNotFoundError:
            raise gone from None
        if upload.load_code != load_code or upload.person_id != person_id:
            raise gone
        return upload

    def path(self, upload: Upload) -> Path:
        """Where the bytes are."""
        return self.path_of(upload.token)

    def packed(self, upload: Upload) -> Future[bytes]:
        """The file compressed, under way in a thread of its own from when this is first asked."""
        path = self.path(upload)
        return _packed.get((upload.token,), lambda: _packer.submit(pack_path, path))

    def drop(self, token: str) -> None:
        """Forget a waiting file; nothing happens where it has gone already."""
        for path in (
            self.note_of(token),
            self.path_of(token),
            self.note_of(token).with_suffix(".part"),
        ):
            path.unlink(missing_ok=True)

    def path_of(self, token: str) -> Path:
        """Where the bytes of a waiting file are."""
        return self._folder / f"{token}.bytes"

    def note_of(self, token: str) -> Path:
        """Where it is written whose file it is."""
        return self._folder / f"{token}.json"

    def _drop_old(self, now_s: float) -> None:
        for path in self._folder.iterdir():
            came_s = path.stat().st_mtime if path.exists() else now_s
            if now_s - came_s > _KEPT_S:
                path.unlink(missing_ok=True)


class ArrivingFile:
    """A file on its way to waiting: nobody finds it before it is finished."""

    def __init__(
        self, uploads: Uploads, file_name: str, owner: tuple[str, int], *, limit_bytes: int
    ) -> None:
        self._uploads = uploads
        self._file_name = file_name
        self._owner = owner
        self._limit_bytes = limit_bytes
        self._token = secrets.token_urlsafe(24)
        self._digest, self._size = hashlib.sha256(), 0
        self._file = uploads.path_of(self._token).open("wb")

    def write(self, piece: bytes | memoryview) -> None:
        """Take the next piece.

        Raises:
            Refusal: the file is larger than is taken.
        """
        self._size += len(piece)
        if self._size > self._limit_bytes:
            sentence = (
                f"{self._file_name}: it is larger than {self._limit_bytes / 1e6:g} MB, the most "
                "that is taken; export one run only, or fewer columns."
            )
            raise Refusal(sentence, fields={"file": sentence})
        self._digest.update(piece)
        self._file.write(piece)

    def finish(self) -> Upload:
        """From now on it waits."""
        self._file.close()
        code, person_id = self._owner
        upload = Upload(
            self._token, code, person_id, self._file_name, self._size, self._digest.hexdigest()
        )
        # The note comes last and at once: an upload without its note was never finished.
        note = self._uploads.note_of(self._token)
        unfinished = note.with_suffix(".part")
        unfinished.write_text(json.dumps(asdict(upload)), encoding="utf-8")
        unfinished.replace(note)
        return upload

    def drop(self) -> None:
        """Leave nothing behind."""
        self._file.close()
        self._uploads.drop(self._token)
