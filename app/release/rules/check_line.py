"""The check line of a printed dossier: whose decision the paper bears. Pure.

A line is the panel, the number of its last decision when it was printed, and sixteen hexadecimal
signs, parted by colons: ``P-1:2:4F2A-91C0-77DE-0B13``. The signs are the first 64 bits of the
SHA-256 of what the decision keeps and nobody changes: panel, number, kind, printed name of who
signed, moment, and the digest of the evidence as it stood. Holds, later decisions and changes of
the evidence are not in it, so that a paper's line is found again whatever came after.

Source of the rule: judging rules, "Panels", and FIPS 180-4 for the digest.
"""

import hashlib
import json
import re
from dataclasses import dataclass
from datetime import UTC

from app.errors import refuse
from app.release.rules.facts import DecisionFacts, PanelFacts

SIGNS = 16
"""Hexadecimal signs of a check line."""
_GROUP = 4
_SYMBOLOGY = re.compile(r"^\][A-Za-z][0-9A-Za-z]")
"""What a scanner may send first (ISO/IEC 15424)."""
_BETWEEN = re.compile(r"[\s\u00ad\u200b\u2010-\u2015\u2212-]+")
"""Blanks and hyphens of every kind: where they stand does not matter."""
_WHOLE = re.compile(r"[^:\s]+:[0-9]{1,6}:[0-9A-F]{16}")


@dataclass(frozen=True, slots=True)
class KeyedLine:
    """A check line as it was keyed. ``number`` is None where only the sixteen signs were."""

    panel: str
    number: int | None
    signs: str


def check_signs(panel: str, made: DecisionFacts) -> str:
    """The sixteen signs of a decision, capitals, not grouped."""
    content = [
        panel,
        made.number,
        made.kind.value,
        made.printed_name,
        made.decided_at.astimezone(UTC).isoformat(timespec="microseconds"),
        made.evidence_sha256,
    ]
    text = json.dumps(content, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:SIGNS].upper()


def short_line(panel: str, made: DecisionFacts) -> str:
    """The line without its panel, for where the panel stands beside it: ``2:4F2A-91C0-...``."""
    signs = check_signs(panel, made)
    groups = [signs[start : start + _GROUP] for start in range(0, SIGNS, _GROUP)]
    return f"{made.number}:{'-'.join(groups)}"


def check_line(panel: str, made: DecisionFacts) -> str:
    """The line as printed: ``P-1:2:4F2A-91C0-77DE-0B13``."""
    return f"{panel}:{short_line(panel, made)}"


def is_whole_line(typed: str) -> bool:
    """Whether this is a check line with its panel, as a scanner sends it or a person keys it."""
    parts = _SYMBOLOGY.sub("", typed.strip()).upper().split(":")
    told = ":".join(["".join(part.split()) for part in parts[:-1]] + [_BETWEEN.sub("", parts[-1])])
    return _WHOLE.fullmatch(told) is not None


def read_line(typed: str, panel: str = "") -> KeyedLine:
    """The line as keyed or scanned, small or capital, with or without blanks and hyphens.

    ``panel`` is the one that was named beside it; a line may name it itself, or leave it out. The
    parts may be parted by blanks instead of colons.

    Raises:
        Refusal: nothing was keyed, it is not whole, a sign is none of a line's, no panel is named,
            or two are; ``fields`` say where (``line``, ``panel``).
    """
    text, beside = _SYMBOLOGY.sub("", typed.strip()).upper(), panel.strip().upper()
    if not text:
        refuse("line", "Key the check line as it stands on the paper, or scan its code.")
    named, number, rest = _parts(text, has_panel=bool(beside))
    signs = _BETWEEN.sub("", rest)
    wrong = re.search(r"[^0-9A-F]", signs)
    if wrong:
        refuse(
            "line",
            f"“{wrong[0]}” is no sign of a check line, which ends in {SIGNS} signs from 0 to 9 and "
            "A to F. Key it again, sign by sign.",
        )
    if len(signs) != SIGNS:
        refuse(
            "line",
            f"The line is not whole: {len(signs)} signs stand at its end where {SIGNS} belong. "
            "Key all of it.",
        )
    if number and not re.fullmatch(r"[0-9]{1,6}", number):
        refuse("line", f"“{number[:20]}” is no number of a decision. Key the line again.")
    if named and beside and named != beside:
        refuse("panel", f"The line names panel {named[:40]}, and here stands {beside[:40]}.")
    if not named and not beside:
        refuse("panel", "Key the panel too: the line as it was keyed does not name it.")
    return KeyedLine(named or beside, int(number) if number else None, signs)


def _parts(text: str, *, has_panel: bool) -> tuple[str, str, str]:
    """Panel, number and the rest, parted by colons or by blanks; the first two may be empty."""
    head, rest = text.split(":")[:-1], text.rpartition(":")[2]
    if not head:
        words, signs = text.split(), ""
        while words and len(signs) < SIGNS:
            signs = _BETWEEN.sub("", words.pop()) + signs
        head, rest = words, signs
    head = ["".join(part.split()) for part in head]
    most = 2
    if len(head) > most or not all(head):
        refuse(
            "line",
            "A check line has three parts: panel, decision, and signs, with colons between. Key it "
            "again.",
        )
    if len(head) == most:
        return head[0], head[1], rest
    if not head:
        return "", "", rest
    alone = head[0]
    return ("", alone, rest) if has_panel and alone.isdecimal() else (alone, "", rest)


def decision_of(facts: PanelFacts, keyed: KeyedLine) -> DecisionFacts | None:
    """The panel's decision of that line; None where no decision has it."""
    for made in facts.decisions:
        if keyed.number in {None, made.number} and keyed.signs == check_signs(facts.code, made):
            return made if keyed.panel == facts.code else None
    return None
