"""A form whose files are written where they belong while it still arrives.

The framework's own form reading keeps a file first in a temporary one; a logger's file is large, so
here it is written once, beside the receipt of what follows. Fields and forgery are as in ``forms``.
"""

from asyncio import Future, get_running_loop
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Protocol

from fastapi import Request
from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.requests import ClientDisconnect

from app.errors import Refusal
from app.web.forms import (
    Typed,
    read_fields,
    refuse_forged,
    refuse_other_sites,
    refuse_too_large,
)

_MOST_FIELD_BYTES = 100_000
_MOST_PARTS = 100


class Target(Protocol):
    """Where a file goes as it arrives."""

    def write(self, piece: memoryview) -> None:
        """Take the next piece. May refuse; then nothing further comes."""


async def receive(request: Request, begin: Callable[[str], Target]) -> Typed:
    """The form's fields, once all of its files are written.

    ``begin`` is called with each file's name, in the form's order, and hands back where it goes; a
    file field in which nothing was chosen begins none. Targets are written to in another thread,
    one piece at a time.

    Raises:
        Refusal: the form is not from our own page, is too large or broken, or a target refuses.
    """
    refuse_other_sites(request)
    await refuse_too_large(request)
    if "multipart/form-data" not in request.headers.get("content-type", ""):
        return await read_fields(request)  # a browser that sends no file at all
    parts = _Parts(request, begin)
    with ThreadPoolExecutor(max_workers=1) as beside:
        written: Future[None] | None = None
        stream = request.stream()
        try:
            async for chunk in stream:
                parts.parse(chunk)
                if written is not None:
                    await written
                # The next chunk is received and parsed while this one's pieces are written.
                written = get_running_loop().run_in_executor(beside, _write, parts.taken())
            if written is not None:
                await written
        except Refusal:
            # The rest is read and dropped: a browser shows our sentence only once all is sent.
            async for _ in stream:
                pass
            raise
        except ClientDisconnect:
            raise _broken() from None
    return Typed(parts.finished(), {})


def _write(pieces: list[tuple[Target, memoryview]]) -> None:
    for target, piece in pieces:
        target.write(piece)


def _boundary(request: Request) -> bytes:
    kind, options = parse_options_header(request.headers.get("content-type", ""))
    boundary = options.get(b"boundary")
    if kind != b"multipart/form-data" or not boundary:
        raise _broken()
    return boundary


def _broken() -> Refusal:
    return Refusal("The form arrived broken. Load the page again and repeat; nothing was kept.")


class _Parts:
    """The parts of one form: fields are collected, files' pieces are handed on."""

    def __init__(self, request: Request, begin: Callable[[str], Target]) -> None:
        self._request = request
        self._begin = begin
        self._fields: dict[str, list[str]] = {}
        self._headers: dict[bytes, bytes] = {}
        self._header = self._content = b""
        self._name, self._field = "", bytearray()
        self._target: Target | None = None
        self._is_file = self._ended = False
        self._count = 0
        self._pieces: list[tuple[Target, memoryview]] = []
        self._parser = MultipartParser(
            _boundary(request),
            {
                "on_part_begin": self._part_begins,
                "on_header_field": self._header_named,
                "on_header_value": self._header_told,
                "on_header_end": self._header_ends,
                "on_headers_finished": self._headers_end,
                "on_part_data": self._part_goes_on,
                "on_part_end": self._part_ends,
                "on_end": self._all_ends,
            },
        )

    def parse(self, chunk: bytes) -> None:
        """Take the next piece of the form.

        Raises:
            Refusal: it is broken, or a file comes before the token of our own page.
        """
        if not chunk:
            return
        try:
            self._parser.write(chunk)
        except FormParserError:
            raise _broken() from None

    def taken(self) -> list[tuple[Target, memoryview]]:
        """The files' pieces that came since this was last asked."""
        pieces, self._pieces = self._pieces, []
        return pieces

    def finished(self) -> dict[str, list[str]]:
        """The fields of a form that is complete."""
        if not self._ended:
            raise _broken()
        self._refuse_forged()
        return self._fields

    def _part_begins(self) -> None:
        self._headers, self._field, self._target = {}, bytearray(), None
        self._count += 1
        if self._count > _MOST_PARTS:
            raise _broken()

    def _header_named(self, chunk: bytes, start: int, end: int) -> None:
        self._header += chunk[start:end]

    def _header_told(self, chunk: bytes, start: int, end: int) -> None:
        self._content += chunk[start:end]

    def _header_ends(self) -> None:
        self._headers[self._header.lower()] = self._content
        self._header = self._content = b""

    def _headers_end(self) -> None:
        _, options = parse_options_header(self._headers.get(b"content-disposition", b""))
        self._name = options.get(b"name", b"").decode("utf-8", errors="replace")
        self._is_file = b"filename" in options
        file_name = options.get(b"filename", b"").decode("utf-8", errors="replace")
        if self._is_file and file_name:
            self._refuse_forged()
            self._target = self._begin(file_name)

    def _part_goes_on(self, chunk: bytes, start: int, end: int) -> None:
        if self._target is not None:
            self._pieces.append((self._target, memoryview(chunk)[start:end]))
        elif not self._is_file:
            self._field += chunk[start:end]
            if len(self._field) > _MOST_FIELD_BYTES:
                raise _broken()

    def _part_ends(self) -> None:
        if not self._is_file:
            text = self._field.decode("utf-8", errors="replace")
            self._fields.setdefault(self._name, []).append(text)

    def _all_ends(self) -> None:
        self._ended = True

    def _refuse_forged(self) -> None:
        refuse_forged(self._request, self._fields.get("csrf", [""])[-1])
