"""A verdict that was judged again, and what differs between its kept paper and the new one."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Replayed:
    """One kept verdict, judged again. ``differs``: in what, in words; None where in nothing.

    ``older``: of an earlier version of the rules, so that only its outcome was compared.
    """

    name: str
    older: bool
    differs: str | None


def differences(
    outcome: Mapping[str, Any], then: Mapping[str, Any], now: Mapping[str, Any]
) -> str | None:
    """In what a kept verdict differs from the paper ``now``; None where in nothing.

    ``outcome`` is what stands beside the kept paper ``then``. Papers are compared as the JSON that
    is kept: of a finding its sentence, figures and working count.
    """
    kept, made = _plain(then), _plain(now)
    told = list(dict.fromkeys([*_outcome(outcome, made), *_outcome(kept, made)]))
    told += _findings(kept["findings"], made["findings"])
    others = [
        name
        for name in sorted(kept.keys() | made.keys())
        if name not in {"verdict", "provisional", "findings"} and kept.get(name) != made.get(name)
    ]
    if others and not told:
        told.append(f"{', '.join(others)} not the same")
    return "; ".join(told) or None


def outcome_differences(then: Mapping[str, Any], now: Mapping[str, Any]) -> str | None:
    """In what two verdicts' outcomes differ, whatever their findings say; None in nothing."""
    return "; ".join(_outcome(then, now)) or None


def _plain(paper: Mapping[str, Any]) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(json.dumps(paper))
    return plain


def _outcome(then: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    before, after = _words(then), _words(now)
    if before != after:
        yield f"{before} then, {after} now"


def _words(paper: Mapping[str, Any]) -> str:
    word = str(paper["verdict"]).replace("_", " ")
    return f"{word}, provisional," if paper.get("provisional") else word


def _findings(then: Sequence[Any], now: Sequence[Any]) -> Iterator[str]:
    """The codes of findings that are gone, new or worded or reckoned otherwise."""
    changed = [one["code"] for one in then if one not in now]
    changed += [one["code"] for one in now if one not in then]
    codes = list(dict.fromkeys(changed))
    if codes:
        more = len(codes) - _MOST_NAMED
        named = ", ".join(codes[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
        yield f"findings not the same: {named}"
    elif list(then) != list(now):
        yield "findings in another order or number"
