"""A file that came to harm is refused, or the harm changed nothing: never another figure."""

import random
import zipfile
from collections import Counter
from collections.abc import Callable
from io import BytesIO

import numpy as np
import pytest

from app.documents.logger.logger_files import LoggerFile, read_logger
from app.documents.logger.logger_mapping import mapping_from_json
from app.errors import BadFile
from tests.documents.torture.forms import Form, form_of
from tests.documents.torture.outcomes import outcome
from tests.documents.torture.test_forms_read_as_written import assert_as_true
from tests.documents.torture.written import SIGNS, truth_for, written

FORMS = 120
Harm = Callable[[bytes, Form, random.Random], bytes | None]


def _encoded(text: str, form: Form) -> bytes:
    """Text as it stands in the form's file."""
    if form.encoding == "utf-16":
        return text.encode("utf-16-le" if form.seed % 2 else "utf-16-be")
    return text.encode(form.encoding)


def _parts(content: bytes, form: Form) -> list[bytes]:
    """The file's lines without their ends; of UTF-16 the byte-order mark stays with the first."""
    return content.split(_encoded(form.line_end, form))


def _joined(lines: list[bytes], form: Form) -> bytes:
    return _encoded(form.line_end, form).join(lines)


def _first_reading(form: Form) -> int:
    """The place of the first row of readings among the lines."""
    return form.block_lines + (form.header != "none") + form.unit_row


def cut_in_a_row(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    """All after the middle of some row is lost."""
    lines = _parts(content, form)
    at = rng.randrange(_first_reading(form), _first_reading(form) + form.rows // 2)
    if at >= len(lines) or len(lines[at]) < 8:
        return None
    step = 2 if form.encoding == "utf-16" else 1
    return _joined(
        [*lines[:at], lines[at][: rng.randrange(1, len(lines[at]) // step) * step]], form
    )


def half_a_character(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    """One byte is lost from UTF-16 text."""
    return content[:-1] if form.encoding == "utf-16" else None


def a_binary_zero(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    at = rng.randrange(len(content) // 2, len(content))
    at -= at % 2
    return content[:at] + _encoded("\0", form) + content[at:]


def a_lost_delimiter(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    lines = _parts(content, form)
    at = _first_reading(form) + rng.randrange(4)
    sign = _encoded(SIGNS[form.delimiter], form)
    if form.remark or form.quoted or sign not in lines[at]:
        return None
    lines[at] = lines[at].replace(sign, b"", 1)
    return _joined(lines, form)


def a_delimiter_too_many(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    lines = _parts(content, form)
    at = _first_reading(form) + rng.randrange(4)
    if not lines[at]:
        return None
    lines[at] += _encoded(SIGNS[form.delimiter], form)
    return _joined(lines, form)


def a_lost_line_end(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    lines = _parts(content, form)
    at = _first_reading(form) + rng.randrange(3)
    if not lines[at] or not lines[at + 1]:
        return None
    lines[at : at + 2] = [lines[at] + lines[at + 1]]
    return _joined(lines, form)


def an_open_quote(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    """A quote before the last cell of a row, and none behind it."""
    lines = _parts(content, form)
    at = _first_reading(form) + rng.randrange(4)
    sign = _encoded(SIGNS[form.delimiter], form)
    if form.quoted or sign not in lines[at] or _encoded('"', form) in lines[at]:
        return None
    head, _, tail = lines[at].rpartition(sign)
    lines[at] = head + sign + _encoded('"', form) + tail
    return _joined(lines, form)


def two_rows_changed_over(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    lines = _parts(content, form)
    at = _first_reading(form) + 1 + rng.randrange(3)
    if form.repeated or form.start == "back" or not lines[at] or not lines[at + 1]:
        return None
    lines[at], lines[at + 1] = lines[at + 1], lines[at]
    return _joined(lines, form)


def a_row_twice(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    lines = _parts(content, form)
    at = _first_reading(form) + 1
    lines.insert(at, lines[at])
    return _joined(lines, form)


def the_header_again(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    if form.header == "none":
        return None
    lines = _parts(content, form)
    lines.insert(_first_reading(form) + 3, lines[form.block_lines].removeprefix(b"\xef\xbb\xbf"))
    if form.encoding == "utf-16" and not form.block_lines:
        return None
    return _joined(lines, form)


def a_word_for_a_reading(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    lines = _parts(content, form)
    at = _first_reading(form) + 2
    sign = _encoded(SIGNS[form.delimiter], form)
    cells = lines[at].split(sign)
    place = 2 if form.two_columns and form.time_kind != "elapsed" else 1
    if form.quoted or len(cells) <= place:
        return None
    cells[place] = _encoded(
        rng.choice(["12..5", "1e5e5", "0x1A", "nan1", "inf", "-nan", "1 2"]), form
    )
    lines[at] = sign.join(cells)
    return _joined(lines, form)


def spaces_around_cells(content: bytes, form: Form, rng: random.Random) -> bytes | None:
    if form.quoted or form.delimiter == "tab" or form.remark:
        return None
    sign, space = _encoded(SIGNS[form.delimiter], form), _encoded(" ", form)
    lines = _parts(content, form)
    for at in range(_first_reading(form), _first_reading(form) + 5):
        lines[at] = lines[at].replace(sign, space + sign + space) + (space if lines[at] else b"")
    return _joined(lines, form)


HARMS: tuple[Harm, ...] = (
    cut_in_a_row,
    half_a_character,
    a_binary_zero,
    a_lost_delimiter,
    a_delimiter_too_many,
    a_lost_line_end,
    an_open_quote,
    two_rows_changed_over,
    a_row_twice,
    the_header_again,
    a_word_for_a_reading,
    spaces_around_cells,
)
ALWAYS_REFUSED = {
    half_a_character,
    a_binary_zero,
    a_delimiter_too_many,
    an_open_quote,
    two_rows_changed_over,
    the_header_again,
    a_word_for_a_reading,
}


@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
def test_harm_to_a_csv_file_is_refused_or_changes_nothing(harm: Harm) -> None:
    outcomes: Counter[str] = Counter()
    for seed in range(FORMS):
        form = form_of(seed)
        if form.kind != "csv":
            continue
        truth = truth_for(form)
        files, paper = written(form, truth)
        rng = random.Random(seed)  # noqa: S311 - harm, no secrets
        harmed = harm(files[0].content, form, rng)
        if harmed is None or form.files == "equal times":
            continue
        reading = outcome([LoggerFile(files[0].name, harmed), *files[1:]], paper, begins="part ")
        if isinstance(reading, str):
            outcomes["refused"] += 1
            continue
        assert harm not in ALWAYS_REFUSED, form
        outcomes["read"] += 1
        if harm is cut_in_a_row and not form.last_line_end:
            # The mapping takes a last row without a line end: whole rows before it are the truth.
            assert len(reading.trace.times) <= form.rows
            continue
        assert_as_true(reading, form, truth)
    assert outcomes["refused"] + outcomes["read"] >= 8, outcomes
    if harm is spaces_around_cells:
        assert outcomes["read"] > outcomes["refused"]


def test_a_csv_file_that_ends_between_rows_gives_the_rows_before() -> None:
    """No reader can tell that rows are lost at the end, unless the mapping states an end mark."""
    told = 0
    for seed in range(FORMS):
        form = form_of(seed)
        if form.kind != "csv" or form.files != "one" or form.start == "back" or form.repeated:
            continue
        truth = truth_for(form)
        files, paper = written(form, truth)
        lines = _parts(files[0].content, form)[: _first_reading(form) + form.rows // 2]
        cut = _joined(lines, form) + _encoded(form.line_end, form)
        mapping = mapping_from_json(paper, filename="mapping")
        if form.footer != "none":
            with pytest.raises(BadFile):
                read_logger([LoggerFile("run.csv", cut)], mapping)
            continue
        found = read_logger([LoggerFile("run.csv", cut)], mapping).trace
        rows = len(found.times)
        assert 0 < rows < form.rows
        assert found.times.tobytes() == truth.seconds[:rows].tobytes()
        whole = read_logger(files, mapping).trace
        for name, readings in found.channels.items():
            assert readings.tobytes() == whole.channels[name][:rows].tobytes()
        told += 1
    assert told > 15


def _repacked(content: bytes, change: Callable[[str, bytes], bytes | None]) -> bytes:
    """The package with each part changed; None leaves a part out."""
    target = BytesIO()
    with (
        zipfile.ZipFile(BytesIO(content)) as source,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed,
    ):
        for name in source.namelist():
            part = change(name, source.read(name))
            if part is not None:
                packed.writestr(name, part)
    return target.getvalue()


def _harmed_sheet(whole: bytes, turn: int, rng: random.Random) -> bytes:
    """A package cut short, with flipped bits, without a part, or with its parts' XML spoilt."""
    if turn == 0:
        return whole[: rng.randrange(4, len(whole))]
    if turn == 1:
        content = bytearray(whole)
        for _ in range(3):
            content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
        return bytes(content)
    if turn == 2:
        lost = rng.choice(["xl/workbook.xml", "[Content_Types].xml", "xl/worksheets/sheet1.xml"])
        return _repacked(whole, lambda name, part: None if name == lost else part)

    def spoil(name: str, part: bytes) -> bytes:
        if not name.startswith("xl/") or "theme" in name:
            return part
        at = rng.randrange(len(part))
        if turn == 3:
            return part[:at]
        if turn == 4:
            return part[:at] + b"<" + part[at + 1 :]
        return part[:at] + part[at + rng.randrange(1, 40) :]

    return _repacked(whole, spoil)


@pytest.mark.parametrize("turn", range(6))
def test_harm_to_the_bytes_of_a_spreadsheet_is_refused_or_changes_nothing(turn: int) -> None:
    outcomes: Counter[str] = Counter()
    for seed in range(3, FORMS, 4):
        form = form_of(seed)
        truth = truth_for(form)
        files, paper = written(form, truth)
        rng = random.Random(f"{turn} {seed}")  # noqa: S311 - harm, no secrets
        harmed = _harmed_sheet(files[0].content, turn, rng)
        reading = outcome([LoggerFile(files[0].name, harmed), *files[1:]], paper, begins="part ")
        if isinstance(reading, str):
            outcomes["refused"] += 1
            continue
        outcomes["read"] += 1
        if turn < 4:
            assert_as_true(reading, form, truth)
        assert np.isfinite(reading.trace.times).all()
    assert outcomes["refused"] >= 10, outcomes
