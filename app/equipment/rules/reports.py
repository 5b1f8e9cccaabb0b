"""Whether a report file is what it says, and what a stated outcome may be. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

from app.errors import Refusal
from app.judging.verdict import Finding, Outcome, Verdict, worst

LARGEST_REPORT_BYTES = 12_000_000
"""A scanned report of a hundred pages; a larger file is a slip. Our own choice."""

_BEGINNINGS = (
    (b"%PDF-", "application/pdf"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
)


@dataclass(frozen=True, slots=True)
class SentFile:
    """A report's file as it was sent: its name on the sender's disk, and its bytes."""

    name: str
    content: bytes


def media_type_of(sent: SentFile) -> str:
    """What the file is by its first bytes, whatever its name says.

    Raises:
        Refusal: it is empty, too large, or neither PDF, JPEG nor PNG.
    """
    if not sent.content:
        _refuse(f"{sent.name}: the file is empty; choose the report again.")
    if len(sent.content) > LARGEST_REPORT_BYTES:
        _refuse(
            f"{sent.name}: it is {len(sent.content) / 1e6:.1f} MB, and at most "
            f"{LARGEST_REPORT_BYTES / 1e6:g} MB are taken; scan it at a lower resolution."
        )
    found = [kind for beginning, kind in _BEGINNINGS if sent.content.startswith(beginning)]
    if not found:
        _refuse(
            f"{sent.name}: it begins like neither a PDF, a JPEG nor a PNG, whatever its name "
            "says; export the report as one of these."
        )
    return found[0]


def outcome_by_figures(findings: Sequence[Finding], *, stated_passed: bool) -> bool:
    """Whether a report passed: never where its figures do not show so, whatever it states.

    A stated failure stands even where the figures are within their limits: a test may fail for
    another reason, which its note tells.

    Raises:
        Refusal: it is stated to have passed, and its figures do not show so.
    """
    if not stated_passed:
        return False
    if worst(findings) is Verdict.CONFORMS:
        return True
    against = next(one for one in findings if one.outcome not in {Outcome.CONFORMS, Outcome.NOTE})
    says = "contradict" if worst(findings) is Verdict.DOES_NOT_CONFORM else "do not prove"
    sentence = f"The figures {says} a pass: {against.text} Correct them, or state that it failed."
    raise Refusal(sentence, fields={"outcome": sentence})


def _refuse(sentence: str) -> NoReturn:
    raise Refusal(sentence, fields={"file": sentence})
