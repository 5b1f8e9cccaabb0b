"""Read a run's files, or have the sentence of the refusal."""

from collections.abc import Mapping, Sequence
from typing import Any

from app.documents.logger.logger_csv import LoggerReading
from app.documents.logger.logger_files import LoggerFile, read_logger
from app.documents.logger.logger_mapping import LoggerMapping, mapping_from_json
from app.errors import BadFile


def outcome(
    files: Sequence[LoggerFile], mapping: LoggerMapping | Mapping[str, Any], *, begins: str
) -> LoggerReading | str:
    """The reading, or the refusal: one sentence that begins with a file's name.

    Anything else that is raised goes through, and fails the test.
    """
    try:
        if not isinstance(mapping, LoggerMapping):
            mapping = mapping_from_json(dict(mapping), filename=f"{begins} mapping")
        return read_logger(files, mapping)
    except BadFile as refused:
        said = refused.sentence
    assert said.startswith(begins), said
    assert said.endswith("."), said
    assert "\n" not in said, said
    return said
