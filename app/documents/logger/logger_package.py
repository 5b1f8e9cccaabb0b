"""What an XLSX file is made of, looked at before any reader opens it; checked parts alone go on.

The package is opened within stated limits, its parts are read once, and their XML is walked without
expanding any entity. What could run, reach elsewhere, or hide is refused.
"""

import io
import posixpath
import re
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import NoReturn
from xml.parsers import expat

from app.errors import BadFile

MOST_PARTS = 2_000
LARGEST_EXPANDED = 250_000_000
"""Bytes of the parts that are read, expanded. A day at 1 Hz of 40 channels takes 130 million."""
HIGHEST_RATIO = 150
"""Expanded bytes for one packed byte, in parts above a megabyte. Steady readings reach about 30."""
_SMALL = 1_000_000
_CHUNK = 1 << 20
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_STRICT_RELATIONS = "http://purl.oclc.org/ooxml/officeDocument/relationships"

Attributes = dict[str, str]


@dataclass(frozen=True, slots=True)
class Package:
    """A workbook's checked parts.

    ``parts`` are the bytes by name that a reader needs; ``sheet`` is the chosen sheet's name and
    ``sheet_part`` where it is. ``dated_styles`` are the cell styles that may show a date.
    """

    parts: dict[str, bytes]
    sheet: str
    sheet_part: str
    from_1904: bool
    dated_styles: frozenset[int]

    def as_file(self) -> io.BytesIO:
        """The checked parts as a package of their own, nothing else in it."""
        target = io.BytesIO()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as package:
            for name, content in self.parts.items():
                package.writestr(name, content)
        target.seek(0)
        return target


def open_package(content: bytes, sheet: str | None, *, filename: str) -> Package:
    """The parts of the workbook that hold a sheet: the one named, or the only one.

    Raises:
        BadFile: it is no XLSX file, or it is encrypted, damaged, too large, or holds macros or
            links to other files; or the sheet is not there or hidden.
    """
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        _refuse(
            filename,
            "it is an old XLS or a password-protected workbook; save it as XLSX without a password",
        )
    if not content.startswith(b"PK"):
        _refuse(filename, "it is no XLSX file, and the mapping reads XLSX; choose a mapping for it")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            _check_list(package.infolist(), filename)
            return _package(_Reader(package, filename), sheet, filename)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError) as error:
        raise BadFile(f"{filename}: it is a damaged XLSX file; export the run again.") from error
    except (UnicodeError, ValueError, RuntimeError) as error:
        raise BadFile(f"{filename}: it is no sound XLSX file; export the run again.") from error


def _refuse(filename: str, says: str) -> NoReturn:
    raise BadFile(f"{filename}: {says}.")


def _check_list(listed: list[zipfile.ZipInfo], filename: str) -> None:
    """Refuse a package by the list of what it holds."""
    if len(listed) > MOST_PARTS:
        _refuse(filename, f"it holds {len(listed)} parts, more than any export; save it anew")
    names = [part.filename.lower() for part in listed]
    if len(set(names)) < len(names):
        _refuse(filename, "two of its parts have one name; save it anew as XLSX")
    for part in listed:
        name = part.filename.lower()
        if part.flag_bits & 1:
            _refuse(filename, "it is encrypted; save it without a password")
        if name.endswith("vbaproject.bin") or "/macrosheets/" in name:
            _refuse(filename, "it holds macros; save it as XLSX without macros")
        if "/externallinks/" in name:
            _refuse(filename, "it takes figures from other files; save it with values only")
        if name.endswith(".bin") and "/worksheets/sheet" in name:
            _refuse(filename, "it is a binary workbook; save it as XLSX")


class _Reader:
    """Reads parts within the limits of the whole."""

    def __init__(self, package: zipfile.ZipFile, filename: str) -> None:
        self._package = package
        self._filename = filename
        self._names = {name.lower(): name for name in package.namelist()}
        self._left = LARGEST_EXPANDED
        self.parts: dict[str, bytes] = {}

    def has(self, name: str) -> bool:
        return name.lower() in self._names

    def read(self, name: str) -> bytes:
        """A part's bytes, its check sum compared.

        Raises:
            BadFile: it is not there, or larger than is taken.
        """
        if name in self.parts:
            return self.parts[name]
        if not self.has(name):
            _refuse(self._filename, f"its part {name} is missing; export the run again")
        part = self._package.getinfo(self._names[name.lower()])
        too_large = part.file_size > self._left
        packed = max(part.compress_size, 1)
        if too_large or (part.file_size > _SMALL and part.file_size / packed > HIGHEST_RATIO):
            _refuse(
                self._filename,
                f"its part {name} expands to {part.file_size / 1e6:.0f} MB from "
                f"{part.compress_size / 1e6:.1f} MB, more than is taken; export fewer columns, or "
                f"one run only",
            )
        chunks = []
        with self._package.open(part) as stream:
            while chunk := stream.read(_CHUNK):
                self._left -= len(chunk)
                if self._left < 0:
                    _refuse(self._filename, f"its part {name} expands to more than is taken")
                chunks.append(chunk)
        self.parts[name] = b"".join(chunks)
        return self.parts[name]

    def elements(self, name: str, seen: Callable[[str, Attributes], None]) -> None:
        """Call ``seen`` with each element's local name and attributes."""
        walk(self.read(name), name, self._filename, seen)


def walk(content: bytes, name: str, filename: str, seen: Callable[[str, Attributes], None]) -> None:
    """Walk a part's XML, calling ``seen`` with each element's local name and attributes.

    Raises:
        BadFile: it is no sound XML, or declares a document type or entities.
    """
    parser = plain_parser(name, filename)
    parser.StartElementHandler = lambda tag, attributes: seen(tag.rpartition(" ")[2], attributes)
    parse_all(parser, content, name, filename)


def plain_parser(name: str, filename: str) -> expat.XMLParserType:
    """A parser that knows namespaces and refuses any document type, so that nothing can expand."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True

    def refuse(*_: object) -> None:
        _refuse(filename, f"its part {name} declares a document type; save it anew as XLSX")

    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    return parser


def parse_all(parser: expat.XMLParserType, content: bytes, name: str, filename: str) -> None:
    """Feed a part to a parser.

    Raises:
        BadFile: it is no sound XML.
    """
    try:
        for begin in range(0, len(content), _CHUNK):
            parser.Parse(content[begin : begin + _CHUNK], False)  # noqa: FBT003 - expat's own form
        parser.Parse(b"", True)  # noqa: FBT003 - expat's own form
    except expat.ExpatError as error:
        raise BadFile(
            f"{filename}: its part {name} is no sound XML (line {error.lineno}); export the run "
            f"again."
        ) from error


def _package(reader: _Reader, sheet: str | None, filename: str) -> Package:
    _check_types(reader, filename)
    workbook = _workbook_part(reader, filename)
    sheets: list[Attributes] = []
    from_1904 = False

    def seen(tag: str, attributes: Attributes) -> None:
        nonlocal from_1904
        if tag == "sheet":
            sheets.append(attributes)
        elif tag == "workbookPr":
            from_1904 = attributes.get("date1904", "0") in {"1", "true"}

    reader.elements(workbook, seen)
    chosen = _chosen_sheet(sheets, sheet, filename)
    relations = _relations(reader, workbook)
    identity = chosen.get(f"{_RELATIONS} id") or chosen.get(f"{_STRICT_RELATIONS} id") or ""
    if identity not in relations or not relations[identity][0].endswith("/worksheet"):
        _refuse(filename, f"{chosen.get('name')} is no sheet of cells; choose another sheet")
    sheet_part = relations[identity][1]
    reader.read(sheet_part)
    styles: frozenset[int] = frozenset()
    for kind, target in relations.values():
        if kind.endswith("/styles"):
            styles = _dated_styles(reader, target)
        elif kind.endswith("/sharedStrings"):
            reader.elements(target, lambda _tag, _attributes: None)
    return Package(reader.parts, str(chosen.get("name")), sheet_part, from_1904, styles)


def _check_types(reader: _Reader, filename: str) -> None:
    """Refuse a package whose content types speak of macros or a binary workbook."""

    def seen(_tag: str, attributes: Attributes) -> None:
        kind = attributes.get("ContentType", "").lower()
        if "macroenabled" in kind or "vbaproject" in kind:
            _refuse(filename, "it is a workbook for macros; save it as XLSX without macros")
        if "sheet.binary" in kind:
            _refuse(filename, "it is a binary workbook; save it as XLSX")

    reader.elements("[Content_Types].xml", seen)


def _workbook_part(reader: _Reader, filename: str) -> str:
    for kind, target in _relations(reader, "").values():
        if kind.endswith("/officeDocument"):
            return target
    _refuse(filename, "it holds no workbook; export the run again")


def _relations(reader: _Reader, part: str) -> dict[str, tuple[str, str]]:
    """The relations of a part by identity: kind, and the part it leads to."""
    folder, name = posixpath.split(part)
    found: dict[str, tuple[str, str]] = {}

    def seen(tag: str, attributes: Attributes) -> None:
        if tag == "Relationship" and attributes.get("TargetMode") != "External":
            target = attributes.get("Target", "")
            whole = target[1:] if target.startswith("/") else posixpath.join(folder, target)
            kind = attributes.get("Type", "")
            found[attributes.get("Id", "")] = (kind, posixpath.normpath(whole))

    reader.elements(posixpath.join(folder, "_rels", f"{name}.rels"), seen)
    return found


def _chosen_sheet(sheets: list[Attributes], named: str | None, filename: str) -> Attributes:
    names = [str(sheet.get("name")) for sheet in sheets]
    listed = ", ".join(names[:12])
    if named is None:
        if len(sheets) != 1:
            _refuse(
                filename,
                f"it has {len(sheets)} sheets ({listed}); name the one to read in the mapping",
            )
        chosen = sheets[0]
    elif named in names:
        chosen = sheets[names.index(named)]
    else:
        _refuse(filename, f"it has no sheet {named}, only {listed}; correct the mapping")
    if chosen.get("state", "visible") != "visible":
        _refuse(
            filename, f"the sheet {chosen.get('name')} is hidden; show it, and look at it first"
        )
    return chosen


_PLAIN_FORMATS = frozenset((*range(14), *range(37, 45), 48, 49))
"""Number formats that never show a date. Source: ECMA-376 Part 1, 18.8.30, from memory."""


def _dated_styles(reader: _Reader, part: str) -> frozenset[int]:
    """The cell styles that may show a date: every one but the plain number formats."""
    inside = False
    found: list[int] = []
    total = 0

    def seen(tag: str, attributes: Attributes) -> None:
        nonlocal inside, total
        if tag == "xf" and inside:
            written = attributes.get("numFmtId", "0")
            number = int(written) if re.fullmatch(r"\d{1,6}", written) else 0
            if number not in _PLAIN_FORMATS:
                found.append(total)
            total += 1
        elif tag in {"cellXfs", "cellStyleXfs", "cellStyles", "dxfs"}:
            inside = tag == "cellXfs"

    reader.elements(part, seen)
    return frozenset(found)
