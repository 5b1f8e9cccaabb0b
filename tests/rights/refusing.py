"""The places in the code that refuse for the person's sake, and which of them a walk came to."""

import ast
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import app
from app.errors import NotAllowed

CODE = Path(app.__file__).parent

NOT_FOR_THE_PERSON = {
    ("people/rights.py", "require_role"): "no role of theirs does",
    ("people/rights.py", "require_task"): "their authorisation",
    ("loads/service/live.py", "_load_for"): "a logger's token for another furnace",
    ("loads/service/live_closing.py", "close_live"): "a logger's token for another furnace",
    ("loads/pages/live_sending.py", "show_live_next"): "a logger's token for another furnace",
}
"""Where nobody is kept from an act by what they have to do with the thing."""

COMPARED_FOR_ELSE = {
    ("bench/service/corrections.py", "correct_reading"): "theirs becomes a request to be answered",
    ("bench/service/sessions.py", "open_session"): "their own running session is handed back",
    ("bench/service/studies.py", "_is_known"): "their own reading, sent a second time",
    ("people/service/signing_in.py", "sign_out_everywhere"): "their own browsers are forgotten",
    ("release/service/hands.py", "_hand"): "a line that is shown beside the evidence",
}
"""Where a service compares persons and refuses nothing."""


@dataclass(frozen=True)
class Place:
    """Where a ``NotAllowed`` is made: file below app/, function, first and last line."""

    file: str
    function: str
    first: int
    last: int


_WORTH_PARSING = re.compile(
    r"NotAllowed\(|\.is_(?:person|among)\(|\bby\.id (?:[!=]=|in|not in) |(?:[!=]=|in) by\.id\b"
)


@cache
def _functions() -> tuple[tuple[str, str, tuple[ast.AST, ...]], ...]:
    """File below app/, name and own nodes of the functions of files in which one may count."""
    return tuple(
        (path.relative_to(CODE).as_posix(), node.name, tuple(_own_nodes(node)))
        for path in sorted(CODE.rglob("*.py"))
        if _WORTH_PARSING.search(text := path.read_text(encoding="utf-8"))
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    )


def _own_nodes(function: ast.AST) -> Iterator[ast.AST]:
    """The nodes of a function without those of functions inside it."""
    for node in ast.iter_child_nodes(function):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node
            yield from _own_nodes(node)


def _made_in(nodes: Iterable[ast.AST]) -> Iterator[ast.Call]:
    for node in nodes:
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", None) or getattr(node.func, "attr", None)
            if name == NotAllowed.__name__:
                yield node


@cache
def places() -> frozenset[Place]:
    """Every place that makes a ``NotAllowed``, in whatever function."""
    found = [
        Place(file, function, call.lineno, call.end_lineno or call.lineno)
        for file, function, nodes in _functions()
        for call in _made_in(nodes)
    ]
    known = {(one.file, one.function) for one in found}
    assert not set(NOT_FOR_THE_PERSON) - known, "named, and not there any more"
    return frozenset(found)


@cache
def refusing_places() -> frozenset[Place]:
    """Those that refuse for the person's sake."""
    return frozenset(one for one in places() if (one.file, one.function) not in NOT_FOR_THE_PERSON)


def comparing() -> set[tuple[str, str]]:
    """Functions of services that compare the person who acts with another, and refuse nobody."""
    return {
        (file, function)
        for file, function, nodes in _functions()
        if "/service/" in file
        and any(_compares(node) for node in nodes)
        and not any(_made_in(nodes))
    }


def _compares(node: ast.AST) -> bool:
    if isinstance(node, ast.Call):
        return getattr(node.func, "attr", None) in {"is_person", "is_among"}
    if isinstance(node, ast.Compare):
        sides = [node.left, *node.comparators]
        return any(ast.unparse(side) == "by.id" for side in sides)
    return False


class Refusals:
    """What was refused since it was last asked, and where each ``NotAllowed`` was made."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._made: list[tuple[NotAllowed, str, int]] = []
        usual = NotAllowed.__init__

        def noted(refusal: NotAllowed, *args: Any, **named: Any) -> None:
            frame = sys._getframe(1)  # noqa: SLF001 - whoever makes it
            self._made.append((refusal, frame.f_code.co_filename, frame.f_lineno))
            usual(refusal, *args, **named)

        monkeypatch.setattr(NotAllowed, "__init__", noted)

    def place(self) -> Place | None:
        """Where the refusal was made that became the answer; None where none was made.

        A page that is shown again makes refusals to show them: the first that was raised is told.
        """
        made, self._made = self._made, []
        raised = [one for one in made if one[0].__traceback__ is not None]
        # One that no page has caught is let go of without its traceback, and is alone.
        for _, file, line in raised[:1] or (made if len(made) == 1 else []):
            return next(
                one
                for one in places()
                if str(CODE / one.file) == file and one.first <= line <= one.last
            )
        return None
