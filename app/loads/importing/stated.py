"""How a layout is stated by hand: the form filled in as the files seem to be written.

Whatever is filled in is for a person to confirm; what nothing tells is left empty.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.documents.logger.logger_mapping import ZONE_IN_FILE
from app.documents.logger.logger_proposal import Proposal
from app.loads.importing.record_forms import typed_from_paper
from app.loads.importing.record_wanted import Wanted

_TIME_NAME = re.compile(r"time|date|elapsed|clock|second|datum|zeit", re.IGNORECASE)
_EMPTY: dict[str, Any] = {
    "name": "",
    "kind": "csv",
    "sheet": None,
    "encoding": "utf-8",
    "delimiter": "comma",
    "decimal_mark": "point",
    "thousands_mark": "none",
    "header": "by names",
    "unit_row": False,
    "temperature_unit": "C",
    "channels": [],
    "vacuum": None,
    "ignored": "everything else",
    "missing": [],
    "footer": None,
    "repeated_rows": "refuse",
    "last_row_without_line_end": "refuse",
    "files": "one",
    "join": "equal times",
    "sort": False,
}
_EMPTY_TIME: dict[str, Any] = {
    "columns": [""],
    "kind": None,
    "order": None,
    "date_mark": None,
    "clock": "24 h",
    "century": None,
    "elapsed_unit": None,
    "zone": None,
    "repeated_hour": "refuse",
}


@dataclass(frozen=True, slots=True)
class ChannelAsked:
    """A channel that a column is asked for, in words."""

    channel: str
    label: str
    hint: str
    required: bool
    is_vacuum: bool


@dataclass(frozen=True, slots=True)
class Guess:
    """The form of a layout filled in, what it asks for, and what is said of the files.

    ``typed`` holds the fields. ``columns`` are the columns to choose from, as the form takes them.
    ``guessed`` and ``to_state`` are sentences: to be confirmed, and to be stated.
    """

    typed: dict[str, str]
    channels: tuple[ChannelAsked, ...]
    columns: tuple[str, ...]
    guessed: tuple[str, ...]
    to_state: tuple[str, ...]


def guess_of(proposal: Proposal, wanted: Wanted) -> Guess:
    """The form filled in as a proposal says, for the channels of a load."""
    paper = {**_EMPTY, **proposal.paper}
    if paper["kind"] == "xlsx":
        paper |= {"encoding": None, "delimiter": None}
    words, paper["missing"] = paper["missing"], []
    cut = _cut_row(paper)
    if cut is not None:
        paper["footer"] = None
    paper["time"] = {**_EMPTY_TIME, **paper.get("time", _time_by_name(proposal))}
    shown = [name for name in proposal.columns if proposal.columns.count(name) == 1 and name]
    candidates = dict(_candidates(paper, shown))
    columns = _guessed_columns(candidates, wanted)
    typed = typed_from_paper({**paper, "channels": [], "vacuum": None}, columns)
    guessed = [one for one in proposal.guessed if cut is None or repr(cut) not in one]
    # A word where a reading is expected may be a fault: a person says that it means a missing one.
    if words:
        guessed = [one for one in guessed if "is missing," not in one]
        guessed.append(
            f"{', '.join(words)} stands where a reading is expected; if it means that one is "
            "missing, say so below."
        )
    to_state = list(proposal.to_state)
    if proposal.refusal is not None:
        to_state.append(proposal.refusal)
    typed |= _vacuum(paper["vacuum"] or {}, columns, wanted, guessed, to_state)
    for part in paper["channels"]:
        for channel, column in columns.items():
            if column == part["column"] and part.get("unit"):
                typed[f"unit:{channel}"] = part["unit"]
    shown += [str(name) for name in candidates if name not in shown]
    return Guess(
        {name: text for name, text in typed.items() if text},
        tuple(_asked(wanted)),
        tuple(shown),
        tuple(guessed),
        tuple(to_state),
    )


def _cut_row(paper: Mapping[str, Any]) -> str | None:
    """What seems to follow the table and begins as a row of readings does: a row that was cut."""
    marker = (paper["footer"] or {}).get("marker") or ""
    return marker if marker[:1].isdigit() else None


def may_be_stated(proposal: Proposal) -> bool:
    """Whether a person could say how the files are read: there is a table with a time in it.

    A fault in the first rows hides the time column from a proposal; its name still tells.
    """
    return proposal.refusal is None or bool(_named_times(proposal))


def _named_times(proposal: Proposal) -> list[int]:
    return [at for at, name in enumerate(proposal.columns) if _TIME_NAME.search(name)]


def _time_by_name(proposal: Proposal) -> dict[str, Any]:
    """The time column that only its name tells, where a proposal could not read its cells."""
    places = _named_times(proposal)
    if not places:
        return {}
    cells = [row[places[0]] for row in proposal.rows if places[0] < len(row)]
    column = {"columns": [proposal.columns[places[0]]]}
    if cells and all(re.fullmatch(r"[\d.,]+", cell) for cell in cells[:1]):
        return {**column, "kind": "elapsed", "elapsed_unit": "seconds"}
    return {**column, "kind": "iso", "zone": ZONE_IN_FILE}


def _candidates(paper: Mapping[str, Any], shown: Sequence[str]) -> Iterator[tuple[str, str | int]]:
    """Every column: the name each goes by, and how the form takes it."""
    yield from ((name, name) for name in shown)
    vacuum = paper["vacuum"]
    for part in (*paper["channels"], *([vacuum] if vacuum else [])):
        yield part["channel"], part["column"]


def _guessed_columns(candidates: Mapping[str, str | int], wanted: Wanted) -> dict[str, str | int]:
    """The column of each channel by its name, capitals, spaces and dashes aside."""
    by_name = {_plain(name): column for name, column in reversed(list(candidates.items()))}
    channels = [one.channel for one in wanted.channels]
    if wanted.vacuum is not None:
        channels.append(wanted.vacuum)
    return {
        channel: candidates[channel] if channel in candidates else by_name[_plain(channel)]
        for channel in channels
        if channel in candidates or _plain(channel) in by_name
    }


def _plain(name: str) -> str:
    return "".join(sign for sign in name.casefold() if sign.isalnum())


def _vacuum(
    part: Mapping[str, Any],
    columns: Mapping[str, str | int],
    wanted: Wanted,
    guessed: list[str],
    to_state: list[str],
) -> dict[str, str]:
    """Unit and sense of the vacuum; a column named as planned is taken as the cycle states it.

    What the proposal asks of a vacuum column is dropped where the load reads none, or it is taken.
    """
    about = f"vacuum in {part.get('channel', '')}"
    if wanted.vacuum is None or columns.get(wanted.vacuum) != wanted.vacuum:
        if wanted.vacuum is None:
            to_state[:] = [one for one in to_state if about not in one]
        return {"vacuum_unit": part.get("unit") or "", "vacuum_sense": part.get("sense") or ""}
    to_state[:] = [one for one in to_state if about not in one]
    unit = part.get("unit") or "kPa"
    guessed.append(
        f"{wanted.vacuum} is taken as {unit} below ambient, positive, as the cycle asks for it; "
        "correct it if the logger writes it otherwise."
    )
    return {"vacuum_unit": unit, "vacuum_sense": part.get("sense") or "below ambient"}


def _asked(wanted: Wanted) -> Iterator[ChannelAsked]:
    for one in wanted.channels:
        deciding = "load" if one.required else "deciding nothing"
        label, hint = f"{one.channel}, {one.station}", f"{deciding}, sensor {one.code}"
        yield ChannelAsked(one.channel, label, hint, one.required, is_vacuum=False)
    if wanted.vacuum is not None:
        label = f"{wanted.vacuum}, bag vacuum"
        yield ChannelAsked(wanted.vacuum, label, "", required=True, is_vacuum=True)
