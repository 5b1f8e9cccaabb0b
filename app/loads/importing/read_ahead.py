"""Waiting files are read whole while a person looks at what came.

When they are kept in the way they were looked at, the reading is there already. A restart only
loses time: then they are read when they are kept.
"""

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor

from app.database import paper_sha256
from app.documents.logger.logger_csv import LoggerReading
from app.documents.logger.logger_files import LoggerFile, read_logger
from app.documents.logger.logger_mapping import LoggerMapping, mapping_to_json
from app.loads.importing.sources import Source
from app.loads.importing.uploads import Upload, Uploads
from app.loads.picture import Shelf

_reader = ThreadPoolExecutor(max_workers=1, thread_name_prefix="read")
# Few: a reading takes about as much memory as its file.
_readings: Shelf[Future[LoggerReading]] = Shelf(2)


def reading_of(
    uploads: Uploads, waiting: Sequence[Upload], mapping: LoggerMapping, *, max_bytes: int
) -> Future[LoggerReading]:
    """The files read by a mapping, under way from when this is first asked.

    Its result may raise BadFile, as reading them does.
    """
    sources = [Source(one.file_name, uploads.path(one)) for one in waiting]
    key = (paper_sha256(mapping_to_json(mapping)), *(one.token for one in waiting))
    return _readings.get(key, lambda: _reader.submit(_read, sources, mapping, max_bytes))


def _read(sources: Sequence[Source], mapping: LoggerMapping, max_bytes: int) -> LoggerReading:
    files = [LoggerFile(one.name, one.read()) for one in sources]
    return read_logger(files, mapping, max_bytes=max_bytes)


def forget(waiting: Sequence[Upload]) -> None:
    """Let go of every reading of these files."""
    tokens = {one.token for one in waiting}
    _readings.drop(lambda key: bool(tokens & set(key[1:])))
