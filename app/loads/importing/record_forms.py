"""What the pages of a furnace record send: how its files are read, and a layout's confirmation."""

from collections.abc import Mapping
from typing import Any

from pydantic import Field

from app.documents.logger.logger_mapping import EVERYTHING_ELSE, load_mapping
from app.errors import BadFile, Refusal
from app.loads.importing.record_wanted import Chosen, Wanted, ask_column
from app.requirements.forms.mapping import (
    THIS_PAPER,
    column_typed,
    mapping_paper,
    told_on_the_form,
    typed_mapping,
)
from app.web.forms import FormModel, Typed

BY_HAND = "hand"
"""The choice of a layout stated by hand, among the identities of mappings."""
_OF_PAPER_ONLY = ("code", "revision", "source_document", "name", "channel_rows")
_OF_VACUUM = ("vacuum_unit", "vacuum_sense", "ambient_kpa", "vacuum_in_file")


class KeepForm(FormModel):
    """What is said besides how the files are read; a first record is not signed."""

    reason: str = Field("", max_length=2000)
    password: str = Field("", max_length=1000)


class ConfirmationForm(FormModel):
    """A second person's signature under a layout."""

    record: int
    password: str = Field(max_length=1000)


def typed_from_paper(paper: Mapping[str, Any], columns: Mapping[str, str | int]) -> dict[str, str]:
    """The fields of the layout, filled in from a mapping's paper with every key.

    ``columns`` are the columns of the load's channels.
    """
    typed = typed_mapping("", "", paper)
    kept = {name: text for name, text in typed.items() if name not in _OF_PAPER_ONLY}
    return kept | {f"column:{channel}": column_typed(one) for channel, one in columns.items()}


def layout_chosen(typed: Typed, wanted: Wanted) -> Chosen:
    """The layout as stated by hand, with the load's own channels.

    Raises:
        Refusal: with one sentence per field that cannot be read, the columns' fields being
            ``column:CHANNEL``.
    """
    _refuse_columns(typed, wanted)
    channels = [sensor.channel for sensor in wanted.channels]
    filled = Typed(_as_mapping_form(typed, wanted, channels), {})
    try:
        _, paper = mapping_paper(filled)
        return Chosen(load_mapping(paper, filename=THIS_PAPER))
    except BadFile as fault:
        raise _on_this_form(told_on_the_form(fault, filled), channels, wanted) from None
    except Refusal as refusal:
        raise _on_this_form(refusal, channels, wanted) from None


def _as_mapping_form(typed: Typed, wanted: Wanted, channels: list[str]) -> dict[str, list[str]]:
    """The fields as the form of a mapping has them, rows numbered in the load's order."""
    fields: dict[str, Any] = dict(typed)
    fields |= {
        "ignored": EVERYTHING_ELSE,
        "code": "BY-HAND",
        "revision": "-",
        "source_document": "-",
        "name": "stated by hand",
        "channel_rows": len(channels),
    }
    for number, channel in enumerate(channels, start=1):
        column = typed.get(f"column:{channel}", "").strip()
        fields[f"channel_{number}"] = channel if column else ""
        fields[f"column_{number}"] = column
        fields[f"unit_{number}"] = typed.get(f"unit:{channel}", "") if column else ""
        fields[f"in_file_{number}"] = typed.get(f"file:{channel}", "") if column else ""
    vacuum = typed.get(f"column:{wanted.vacuum}", "").strip()
    fields["vacuum_channel"] = wanted.vacuum if vacuum else ""
    fields["vacuum_column"] = vacuum
    if vacuum:
        fields["vacuum_in_file"] = typed.get(f"file:{wanted.vacuum}", "")
    else:
        fields |= dict.fromkeys(_OF_VACUUM, "")
    return {name: [str(text)] for name, text in fields.items()}


def _refuse_columns(typed: Typed, wanted: Wanted) -> None:
    """Refuse a required channel without a column, and a column chosen twice."""
    problems: dict[str, str] = {}
    for channel in wanted.needed:
        if not typed.get(f"column:{channel}", "").strip():
            problems[f"column:{channel}"] = ask_column(channel, wanted)
    first: dict[tuple[str, str], str] = {}
    for name, column in typed.items():
        channel = name.removeprefix("column:")
        if channel == name or not column.strip():
            continue
        place = (column.strip(), typed.get(f"file:{channel}", "").strip())
        if place in first:
            problems[name] = (
                f"The column {column} is chosen for {first[place]} already; choose another for "
                f"{channel}."
            )
        first.setdefault(place, channel)
    if problems:
        raise Refusal(" ".join(problems.values()), fields=problems)


def _on_this_form(refusal: Refusal, channels: list[str], wanted: Wanted) -> Refusal:
    """The refusal with its sentences beside this form's own fields."""
    named = {
        f"{field}_{number}": f"column:{channel}"
        for number, channel in enumerate(channels, start=1)
        for field in ("channel", "column", "unit", "in_file")
    }
    if wanted.vacuum is not None:
        named |= dict.fromkeys(("vacuum_channel", "vacuum_column"), f"column:{wanted.vacuum}")
    fields = {named.get(name, name): sentence for name, sentence in refusal.fields.items()}
    return type(refusal)(refusal.sentence, fields=fields)
