"""Forms as they arrive: what was typed, checked against forgery, then read into a model."""

import hmac
from collections.abc import AsyncIterator, Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Annotated, Any, TypeVar
from zoneinfo import ZoneInfo

from fastapi import Depends, Request
from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError
from starlette.datastructures import UploadFile

from app.errors import Refusal
from app.settings import Settings
from app.web import cookies
from app.web.form_token import csrf_token


class Typed(Mapping[str, str]):
    """The text fields of a form exactly as typed, and its uploaded files."""

    def __init__(
        self, fields: Mapping[str, list[str]], files: Mapping[str, list[UploadFile]]
    ) -> None:
        self._fields = dict(fields)
        self._files = dict(files)
        self.files = {name: several[-1] for name, several in files.items()}

    def __getitem__(self, name: str) -> str:
        return self._fields[name][-1]

    def __iter__(self) -> Iterator[str]:
        return iter(self._fields)

    def __len__(self) -> int:
        return len(self._fields)

    def every(self, name: str) -> list[str]:
        """All values of a field that may come several times, in the form's order."""
        return list(self._fields.get(name, []))

    def every_file(self, name: str) -> list[UploadFile]:
        """All files chosen in a field, in the order chosen; empty where none was."""
        return [one for one in self._files.get(name, []) if one.filename]


class OldForm(Refusal):
    """A form of our own that was not shown to this sign-in; ``typed`` is what it holds."""

    def __init__(self, sentence: str, *, typed: Typed | None = None) -> None:
        super().__init__(sentence)
        self.typed = typed


def own_address(address: str) -> str:
    """A path of ours to go on to; anything that could lead elsewhere becomes the first page."""
    ours = address.startswith("/") and not address.startswith(("//", "/\\"))
    return address if ours and address.isprintable() else "/"


def refuse_other_sites(request: Request) -> None:
    """Refuse a form that another site's page sent, by what the browser says of its origin.

    Raises:
        Refusal: the browser names another site.
    """
    site = request.headers.get("sec-fetch-site")
    origin = request.headers.get("origin")
    foreign = site is not None and site not in ("same-origin", "none")
    if site is None and origin is not None:
        foreign = origin.split("://", 1)[-1] != request.headers.get("host", "")
    if foreign:
        raise Refusal("This form came from another site's page. Open the page here and try again.")


def refuse_forged(request: Request, given: str, *, typed: Typed | None = None) -> None:
    """Refuse a form without the value that our own pages put into it for this sign-in.

    Raises:
        OldForm: nobody is signed in, or the value is not this sign-in's.
    """
    token = cookies.taken(request, cookies.SIGN_IN)
    if not token or not hmac.compare_digest(given.encode(), csrf_token(token).encode()):
        raise OldForm(
            "This page was open since before you signed in. Go back, load it again and repeat "
            "the entry; nothing was recorded.",
            typed=typed,
        )


async def read_form(request: Request) -> AsyncIterator[Typed]:
    """The form of a signed-in person; its uploaded files are closed once the answer is made.

    Raises:
        Refusal: the form did not come from our own page, or is larger than the upload limit.
    """
    refuse_other_sites(request)
    await refuse_too_large(request)
    try:
        yield await read_fields(request)
    finally:
        await request.close()


async def read_fields(request: Request) -> Typed:
    """The form, if it carries what our own pages put into it.

    Raises:
        Refusal: it does not.
    """
    typed = await _read(request)
    refuse_forged(request, typed.get("csrf", ""), typed=typed)
    return typed


async def read_open_form(request: Request) -> Typed:
    """A form that needs no sign-in (the sign-in form itself)."""
    refuse_other_sites(request)
    return await _read(request)


async def _read(request: Request) -> Typed:
    form = await request.form()
    fields: dict[str, list[str]] = {}
    files: dict[str, list[UploadFile]] = {}
    for name, content in form.multi_items():
        if isinstance(content, UploadFile):
            files.setdefault(name, []).append(content)
        else:
            fields.setdefault(name, []).append(content)
    return Typed(fields, files)


async def refuse_too_large(request: Request) -> None:
    """Refuse a form that says it is larger than the upload limit, once it has been received.

    Raises:
        Refusal: with its size and the limit.
    """
    settings: Settings = request.app.state.settings
    length = int(request.headers.get("content-length") or 0)
    if length <= settings.upload_limit_mb * 1_000_000 + 100_000:
        return
    # The rest is read and dropped: a browser shows our sentence only once it has sent everything.
    async for _ in request.stream():
        pass
    raise Refusal(
        f"The file is {length / 1e6:.0f} MB; files up to {settings.upload_limit_mb} MB are taken. "
        "Export the record at a longer sample interval or split it by load, and try again. Nothing "
        "was kept."
    )


TypedForm = Annotated[Typed, Depends(read_form)]
OpenForm = Annotated[Typed, Depends(read_open_form)]


class FormModel(BaseModel):
    """Base of every subject's forms: unknown fields are ignored, texts are trimmed."""

    model_config = ConfigDict(extra="ignore", str_strip_whitespace=True, frozen=True)


M = TypeVar("M", bound=BaseModel)


def parse(model: type[M], typed: Mapping[str, str], *, zone: ZoneInfo | None = None) -> M:
    """Read what was typed into ``model``. Empty fields count as not given.

    ``zone`` is the shop's, in which times without a zone were meant.

    Raises:
        Refusal: with one sentence per field that cannot be read.
    """
    given = {name: text for name, text in typed.items() if text.strip()}
    try:
        return model.model_validate(given, context={"zone": zone})
    except ValidationError as error:
        problems: dict[str, str] = {}
        for each in error.errors():
            name = str(each["loc"][0]) if each["loc"] else "form"
            problems.setdefault(name, _sentence(model, name, each))
        raise Refusal(
            "Nothing was recorded yet: " + " ".join(problems.values()), fields=problems
        ) from None


def _sentence(model: type[BaseModel], name: str, each: Any) -> str:
    field = model.model_fields.get(name)
    label = (field.title if field and field.title else name.replace("_", " ")).capitalize()
    typed, context = str(each["input"])[:40], each.get("ctx", {})
    sentences = {
        "missing": "is missing.",
        "value_error": f": {context.get('error')}",
        "enum": f": choose one of {context.get('expected')}.",
        "literal_error": f": choose one of {context.get('expected')}.",
        "int_parsing": f": {typed!r} is not a whole number.",
        "string_too_long": f": at most {context.get('max_length')} characters.",
    }
    fallback = f": {typed!r} cannot be taken ({each['msg'][:1].lower()}{each['msg'][1:]})."
    sentence = sentences.get(each["type"], fallback)
    return f"{label}{sentence}" if sentence.startswith(":") else f"{label} {sentence}"


def _as_figure(typed: object) -> Decimal:
    if isinstance(typed, Decimal):
        return typed
    text = str(typed).strip().replace(",", ".")
    # No exponent, no infinity, no underscores: a figure is what a person would write.
    plain = text.removeprefix("-").removeprefix("+").replace(".", "", 1)
    if not (plain.isascii() and plain.isdigit()):
        raise ValueError(f"{str(typed)[:40]!r} is not a number; write it like 38.5.")
    try:
        return Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{str(typed)[:40]!r} is not a number; write it like 38.5.") from None


def _as_day(typed: object) -> date:
    if isinstance(typed, date):
        return typed
    try:
        return date.fromisoformat(str(typed).strip())
    except ValueError:
        raise ValueError(f"{str(typed)[:40]!r} is not a date; write it like 2026-03-31.") from None


def _as_moment(typed: object, context: Any) -> datetime:
    if isinstance(typed, datetime):
        return typed
    try:
        at = datetime.fromisoformat(str(typed).strip())
    except ValueError:
        raise ValueError(
            f"{str(typed)[:40]!r} is not a time; write it like 2026-03-31 07:15."
        ) from None
    if at.tzinfo is None:
        zone = (context.context or {}).get("zone")
        at = at.replace(tzinfo=zone or ZoneInfo("UTC"))
    return at


TypedFigure = Annotated[Decimal, BeforeValidator(_as_figure)]
"""A number typed with a decimal point or comma; its digits are kept (``38.0`` stays ``38.0``)."""
TypedDay = Annotated[date, BeforeValidator(_as_day)]
TypedMoment = Annotated[datetime, BeforeValidator(_as_moment)]
"""A time; without a zone it is meant in the shop's."""
