"""Working that several findings share, written once and referred to by its lines' numbers."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

_OF_READING = re.compile(r"reading (\d+): (.+)", re.DOTALL)
_LONG_LINE = 60
"""Characters; a shorter line is a figure that one looks for under its own reading."""
_SHORT_RUN = 2
"""Numbers in a row that are still listed one by one."""


@dataclass(frozen=True, slots=True)
class Line:
    """A finding with the lines of working that are its own.

    ``refers_to`` names the common lines that belong to it, like "1 to 3 and 5"; empty for none.
    """

    finding: Any
    own: tuple[str, ...]
    refers_to: str


@dataclass(frozen=True, slots=True)
class Folded:
    """Findings in their order, and the lines of working that more than one of them needs."""

    lines: tuple[Line, ...]
    common: tuple[str, ...]


def fold_working(findings: Sequence[Any]) -> Folded:
    """Write each line of working once: a line that several findings need becomes a common one.

    So is a long line that is the same for several readings: "readings 1 to 3: ...".

    ``findings`` have ``working``, as an attribute or, in a kept paper, as a key. No line is
    lost.
    """
    spoken = _spoken(_working(one) for one in findings)
    workings = [
        tuple(dict.fromkeys(spoken.get(line, line) for line in _working(one))) for one in findings
    ]
    needed = Counter(line for working in workings for line in working)
    common = tuple(line for line, times in needed.items() if times > 1)
    number = {line: place for place, line in enumerate(common, start=1)}
    return Folded(
        tuple(
            Line(
                one,
                tuple(line for line in working if line not in number),
                _listed(sorted(number[line] for line in working if line in number)),
            )
            for one, working in zip(findings, workings, strict=True)
        ),
        common,
    )


def _spoken(workings: Iterable[Sequence[str]]) -> dict[str, str]:
    """Long lines said alike of several readings, each with the one line that says it of all."""
    alike: dict[str, dict[int, str]] = {}
    for working in workings:
        for line in working:
            found = _OF_READING.fullmatch(line)
            if found is not None and len(found[2]) > _LONG_LINE:
                alike.setdefault(found[2], {})[int(found[1])] = line
    return {
        line: f"readings {_listed(sorted(lines))}: {says}"
        for says, lines in alike.items()
        if len(lines) > 1
        for line in lines.values()
    }


def _working(finding: Any) -> Sequence[str]:
    return tuple(finding["working"] if isinstance(finding, Mapping) else finding.working)


def _listed(numbers: Sequence[int]) -> str:
    """Rising numbers as one would say them: "1 to 3 and 5"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words: list[str] = []
    for run in runs:
        spoken_singly = len(run) <= _SHORT_RUN
        words += [str(one) for one in run] if spoken_singly else [f"{run[0]} to {run[-1]}"]
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))
