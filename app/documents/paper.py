"""Reading the JSON papers of judging: exact figures, no unknown keys, one sentence when wrong."""

import json
import re
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, NoReturn, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    PlainSerializer,
    ValidationError,
    WithJsonSchema,
)

from app.errors import BadFile
from app.judging.rounding import shown

LARGEST_PAPER_BYTES = 5_000_000
MOST_DIGITS = 24
_PLAIN_FIGURE = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?", re.ASCII)
_WHOLE = re.compile(r"\d{1,6}", re.ASCII)


def read_figure(raw: object) -> Decimal:
    """A figure exactly as written, from a JSON number or its text.

    Raises:
        ValueError: it is no plain decimal number.
    """
    if isinstance(raw, Decimal):
        return _within_reason(raw)
    if isinstance(raw, int) and not isinstance(raw, bool):
        return _within_reason(Decimal(raw))
    if isinstance(raw, str) and _PLAIN_FIGURE.fullmatch(raw.strip()):
        return _within_reason(Decimal(raw.strip()))
    raise ValueError(f"expected a number such as 38.0, found {_quoted(raw)}")


def _within_reason(figure: Decimal) -> Decimal:
    """Refuse what no instrument shows, and what would take for ever to compute with."""
    digits, power = figure.as_tuple().digits, figure.as_tuple().exponent
    reach = MOST_DIGITS
    if not isinstance(power, int) or len(digits) > reach or not -reach <= power <= reach:
        raise ValueError(f"expected a number of at most {MOST_DIGITS} digits")
    return figure


def read_whole(raw: object) -> int:
    """A whole number, from a JSON number or its text.

    Raises:
        ValueError: it is no whole number of at least 0.
    """
    if isinstance(raw, int) and not isinstance(raw, bool):
        return raw
    if isinstance(raw, str) and _WHOLE.fullmatch(raw.strip()):
        return int(raw.strip())
    raise ValueError(f"expected a whole number, found {_quoted(raw)}")


_NUMBER_TEXT = r"^\s*[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,2})?\s*$"
FigureIn = Annotated[
    Decimal,
    BeforeValidator(read_figure),
    PlainSerializer(shown, return_type=str),
    WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string", "pattern": _NUMBER_TEXT}]}),
]
WholeIn = Annotated[
    int,
    BeforeValidator(read_whole),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 0},
                {"type": "string", "pattern": r"^\s*[0-9]{1,6}\s*$"},
            ]
        }
    ),
]


class Paper(BaseModel):
    """Base of every paper: frozen, and unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


PaperT = TypeVar("PaperT", bound=Paper)


def load_paper(kind: type[PaperT], text: str | bytes, *, filename: str) -> PaperT:
    """The paper read from JSON text.

    Raises:
        BadFile: one sentence naming the file and the field, and what was expected.
    """
    if len(text) > LARGEST_PAPER_BYTES:
        _refuse(filename, f"it is larger than {LARGEST_PAPER_BYTES} bytes; this is no such paper")
    return paper_from(kind, _parse(text, filename), filename=filename)


def load_paper_file(kind: type[PaperT], path: Path) -> PaperT:
    """The paper in a file.

    Raises:
        BadFile: the file cannot be read, or is not such a paper.
    """
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_PAPER_BYTES + 1)
    except FileNotFoundError as error:
        raise BadFile(f"{path.name}: no such file; check its name and folder.") from error
    except OSError as error:
        reason = error.strerror or "unreadable"
        raise BadFile(f"{path.name}: it cannot be read ({reason}); check the file.") from error
    return load_paper(kind, content, filename=path.name)


def paper_from(kind: type[PaperT], content: object, *, filename: str) -> PaperT:
    """The paper from what JSON text held.

    Raises:
        BadFile: one sentence naming the file and the field, and what was expected.
    """
    try:
        return kind.model_validate(content)
    except ValidationError as error:
        raise BadFile(f"{filename}: {_sentence(error)}") from error


def _parse(text: str | bytes, filename: str) -> object:
    try:
        decoded = text.decode("utf-8-sig") if isinstance(text, bytes) else text
    except UnicodeDecodeError:
        _refuse(filename, "it is not UTF-8 text; save it as JSON in UTF-8")
    try:
        parsed: object = json.loads(
            decoded,
            parse_float=Decimal,
            parse_constant=_refuse_constant,
            object_pairs_hook=_without_duplicates,
        )
    except json.JSONDecodeError as error:
        _refuse(filename, f"line {error.lineno}, column {error.colno}: not JSON ({error.msg})")
    except RecursionError:
        _refuse(filename, "it is nested too deeply; this is no such paper")
    except ValueError as error:
        _refuse(filename, str(error))
    return parsed


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number; give a figure or null")


def _without_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """The object, refused where a key stands in it twice: one of the two would be lost."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {key!r} stands twice in one object; keep one of them")
        found[key] = value
    return found


def _refuse(filename: str, what: str) -> NoReturn:
    raise BadFile(f"{filename}: {what}.")


def _sentence(error: ValidationError) -> str:
    """The first fault in words, with how many more there are."""
    faults = error.errors(include_url=False)
    first = faults[0]
    where = _path(first["loc"])
    kind, found = first["type"], first["input"]
    if kind == "missing":
        says = "is missing; give it"
    elif kind == "extra_forbidden":
        says = "is no key of this paper; remove it or correct its spelling"
    elif kind == "value_error":
        says = str(first["ctx"]["error"])
    elif kind in {"enum", "literal_error"}:
        says = f"expected {first['ctx']['expected']}, found {_quoted(found)}"
    else:
        says = f"expected {_EXPECTED.get(kind, 'another value')}, found {_quoted(found)}"
    more = f" ({len(faults) - 1} more like it)" if len(faults) > 1 else ""
    return f"{where}: {says}{more}." if where else f"{says}{more}."


_EXPECTED = {
    "string_type": "text",
    "string_too_short": "some text",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list",
    "list_type": "a list",
    "dict_type": "an object in braces",
    "model_type": "an object in braces",
    "model_attributes_type": "an object in braces",
}


def _path(location: tuple[int | str, ...]) -> str:
    """A field's path as a person writes it: entries[0].criteria[1].min."""
    written = ""
    for step in location:
        if isinstance(step, int):
            written += f"[{step}]"
        else:
            written += f".{step}" if written else step
    return written


def _quoted(found: object) -> str:
    """What was found, short enough for a sentence."""
    if isinstance(found, dict):
        return "an object"
    if isinstance(found, list | tuple):
        return "a list"
    if found is None:
        return "null"
    if isinstance(found, Decimal):
        return str(found)
    text = repr(found)
    return text if len(text) <= 40 else f"{text[:37]}..."  # noqa: PLR2004 - one line of a sentence
