"""A logger's files on their way into the record: their bytes, digests, and themselves packed."""

from collections.abc import Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from app.errors import BadFile
from app.loads.trace_store import pack_file


@dataclass(frozen=True, slots=True)
class Source:
    """A file to be brought in; ``name`` is how sentences call it."""

    name: str
    content: Path | bytes

    def read(self) -> bytes:
        """The bytes.

        Raises:
            BadFile: there is no such file, or it cannot be read.
        """
        if isinstance(self.content, bytes):
            return self.content
        try:
            return self.content.read_bytes()
        except FileNotFoundError:
            raise BadFile(f"{self.name}: no such file; check its name and folder.") from None
        except OSError as error:
            why = error.strerror or "unreadable"
            raise BadFile(f"{self.name}: it cannot be read ({why}); check the file.") from None

    def brought(self, beside: Executor) -> "Brought":
        """The file in hand; its digest is taken and it is packed in other threads meanwhile.

        Raises:
            BadFile: as :meth:`read`.
        """
        content = self.read()
        digest = beside.submit(_digest, content)
        packed = beside.submit(pack_file, content)
        return Brought(Source(self.name, content), len(content), digest, packed)


@dataclass(frozen=True, slots=True)
class Brought:
    """A file in hand: its size, and its digest and packed bytes, under way or there."""

    source: Source
    size_bytes: int
    digest: str | Future[str]
    packed: Future[bytes]

    @property
    def name(self) -> str:
        """Its name as it is kept."""
        return self.source.name[:200]

    @property
    def sha256(self) -> str:
        """SHA-256 of its bytes."""
        return self.digest if isinstance(self.digest, str) else self.digest.result()


def _digest(content: bytes) -> str:
    return sha256(content).hexdigest()


def bring(sources: Sequence[Source | Brought], beside: Executor) -> list[Brought]:
    """Every file in hand; those that are already stay as they are.

    Raises:
        BadFile: one cannot be read.
    """
    return [one if isinstance(one, Brought) else one.brought(beside) for one in sources]
