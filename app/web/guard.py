"""What stands around every answer: headers, and refused attempts kept before it leaves."""

import logging
from collections.abc import Callable

from anyio import to_thread
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.errors import Refusal, heard
from app.settings import Settings

_log = logging.getLogger("temperbook")

_POLICY = (
    "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "frame-ancestors 'none'; form-action 'self'; base-uri 'none'; object-src 'none'"
)
_NOT_NEEDED = (
    "accelerometer=(), camera=(), display-capture=(), geolocation=(), gyroscope=(), "
    "magnetometer=(), microphone=(), midi=(), payment=(), usb=()"
)
_NO_HTTP_FOR_S = 365 * 24 * 3600

KeepRefusal = Callable[[Refusal, str, str], None]
"""Puts a refusal on the trail; given besides it the address's path and who tried."""


class Guard:
    """Headers that every answer carries; a page of the record is never kept by a cache.

    What was refused to a signed-in person who sent something is handed to ``keep`` once the answer
    says that it was refused, and before the answer leaves.
    """

    def __init__(self, app: ASGIApp, *, settings: Settings, keep: KeepRefusal) -> None:
        self._app = app
        self._secure = settings.secure_cookies
        self._keep = keep

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        said: list[Refusal] = []
        method = scope["method"]

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._add_headers(message)
                if said:
                    await to_thread.run_sync(self._keep_refused, scope, said, message["status"])
            await send(message)

        if method in {"TRACE", "TRACK"}:
            await send_guarded({"type": "http.response.start", "status": 405, "headers": []})
            await send({"type": "http.response.body", "body": b""})
            return
        scope.setdefault("state", {})
        token = heard.set(None if method in {"GET", "HEAD"} else said)
        try:
            await self._app(scope, receive, send_guarded)
        finally:
            heard.reset(token)

    def _add_headers(self, message: Message) -> None:
        headers = MutableHeaders(scope=message)
        headers.setdefault("Content-Security-Policy", _POLICY)
        headers["X-Content-Type-Options"] = "nosniff"
        headers["Referrer-Policy"] = "same-origin"
        headers["Permissions-Policy"] = _NOT_NEEDED
        headers["Cross-Origin-Opener-Policy"] = "same-origin"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"
        if self._secure:
            headers["Strict-Transport-Security"] = f"max-age={_NO_HTTP_FOR_S}"
        headers.setdefault("Cache-Control", "no-store")

    def _keep_refused(self, scope: Scope, said: list[Refusal], status: int) -> None:
        # A page that is shown again may make refusals only to show them: the answer was the first
        # one that was raised (so that it has a traceback) and has the answer's own status.
        told = next(
            (one for one in said if one.status == status and one.__traceback__ is not None), None
        )
        state = scope["state"]
        visitor = state.get("visitor")
        by = visitor.username if visitor is not None else state.get("machine")
        if told is None or by is None:
            return
        try:
            self._keep(told, scope["path"], by)
        except Exception:  # noqa: BLE001 - whatever it was, it is told in the log
            # The refusal itself stands, whether or not its entry could be written.
            _log.exception("a refused attempt at %s could not be kept on the trail", scope["path"])
