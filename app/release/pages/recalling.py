"""After what a person or a machine did: recall the panels whose evidence it turned."""

import logging
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from datetime import tzinfo
from threading import Event

from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.database import Database
from app.release.service.watching import recall_changed
from app.web.page import now

_LONGEST_WAIT_S = 2.0
"""An answer waits this long for the look; what takes longer goes on beside the pages."""
_REST_S = 0.1
"""Between a hundred panels and the next hundred of a long look the pages go first."""
_REFUSED = 400

_log = logging.getLogger("temperbook")


class Recalling:
    """Looks at the trail for what can turn panels in use, in a thread of its own, in order."""

    def __init__(self, database: Database, zone: tzinfo) -> None:
        self._database = database
        self._zone = zone
        self._looker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="recall")
        self._since: int | None = None
        self._closing = Event()
        self._long: Future[list[str]] | None = None
        """The last that was waited for: where it is not done, it took longer than anybody waits."""

    def begin(self) -> Future[list[str]]:
        """Look at what was done since the last look; at a start, at what a stop left."""
        task = self._looker.submit(self.look)
        task.add_done_callback(_log_failure)
        return task

    def look_soon(self) -> None:
        """Begin a look and wait for it, two seconds at most; not at all behind a long look."""
        task = self.begin()
        if self._long is None or self._long.done():
            wait([task], timeout=_LONGEST_WAIT_S)
            self._long = task

    def look(self) -> list[str]:
        """Recall what the entries since the last look have turned; hand back the panels."""
        self._since, recalled = recall_changed(
            self._database, since=self._since, at=now(), zone=self._zone, go_on=self._rest
        )
        return recalled

    def _rest(self) -> bool:
        return not self._closing.wait(_REST_S)

    def close(self) -> None:
        """End the look under way; what it left is looked at after the next start."""
        self._closing.set()
        self._looker.shutdown(cancel_futures=True)


def _log_failure(task: Future[list[str]]) -> None:
    """What was done is done and on record; what it turned is found at the next look."""
    error = None if task.cancelled() else task.exception()
    if error is not None:
        _log.error("Panels in use were not compared with what was just done.", exc_info=error)


class AfterActs:
    """Looks once a form was taken and before its answer leaves, so that the next page shows it.

    Forms of the bench are left out: judging a coupon recalls its panel in its own transaction.
    """

    def __init__(self, app: ASGIApp, look: Callable[[], None]) -> None:
        self._app = app
        self._look = look

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on; look as its answer begins, where something may have been done."""
        if (
            scope["type"] != "http"
            or scope["method"] != "POST"
            or scope["path"].startswith(("/bench/", "/live/"))
        ):
            await self._app(scope, receive, send)
            return

        async def send_after_look(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] < _REFUSED:
                await run_in_threadpool(self._look)
            await send(message)

        await self._app(scope, receive, send_after_look)
