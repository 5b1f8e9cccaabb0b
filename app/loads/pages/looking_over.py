"""Records that just came in are looked over beside the pages, one after the other."""

import logging
import threading
from concurrent.futures import Future, ThreadPoolExecutor, wait
from datetime import timedelta
from typing import Annotated

from fastapi import Depends, Request

from app.database import Database
from app.loads.service.doubts import loads_not_looked_over, note_doubts
from app.web.page import now

AFTER_A_STOP = timedelta(days=7)
"""Records this young are looked over after a start, where a stop came in between."""
_LONGEST_WAIT_S = 1.0

_log = logging.getLogger("temperbook")


class LookingOver:
    """Looks records over in a thread of its own; a page may wait a moment for the notes."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._lock = threading.Lock()
        self._looker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="look-over")
        self._under_way: dict[str, Future[None]] = {}

    def begin(self, load_code: str) -> None:
        """Look the load's record over as soon as the ones before are done."""
        task = self._looker.submit(self._look, load_code)
        with self._lock:
            self._under_way[load_code] = task
        task.add_done_callback(lambda done: self._ended(load_code, done))

    def catch_up(self) -> Future[None]:
        """Look over what a stop left; nobody need wait for it."""
        task = self._looker.submit(self._catch_up)
        task.add_done_callback(_log_failure)
        return task

    def wait_for(self, load_code: str) -> None:
        """Wait until the load's record is looked over, for a second at most."""
        with self._lock:
            under_way = self._under_way.get(load_code)
        if under_way is not None:
            wait([under_way], timeout=_LONGEST_WAIT_S)

    def close(self) -> None:
        """Finish what is under way; the rest is caught up with at the next start."""
        self._looker.shutdown(cancel_futures=True)

    def _look(self, load_code: str) -> None:
        note_doubts(self._database, load_code, at=now())

    def _ended(self, load_code: str, task: Future[None]) -> None:
        with self._lock:
            if self._under_way.get(load_code) is task:
                del self._under_way[load_code]
        _log_failure(task)

    def _catch_up(self) -> None:
        for load_code in loads_not_looked_over(self._database, since=now() - AFTER_A_STOP):
            self._look(load_code)


def _log_failure(task: Future[None]) -> None:
    """Notes decide nothing: a fault in finding them is told to whoever runs the program only."""
    error = None if task.cancelled() else task.exception()
    if error is not None:
        _log.error("A furnace record was not looked over for oddities.", exc_info=error)


def looking_over(request: Request) -> LookingOver:
    """The application's own."""
    found: LookingOver = request.app.state.looking_over
    return found


Looking = Annotated[LookingOver, Depends(looking_over)]
