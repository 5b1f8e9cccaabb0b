"""Make a page from a template and finished values, or send the reader on."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache, lru_cache, partial
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote, unquote

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from app.database import Database
from app.settings import Settings, shipped
from app.web import cookies, words
from app.web.working import fold_working

STATIC = Path(__file__).parent.parent / "static"


@dataclass(frozen=True, slots=True)
class Visitor:
    """The signed-in person as templates know them."""

    username: str
    full_name: str
    roles: frozenset[str]
    csrf: str


def now() -> datetime:
    """The server's clock. Only pages and commands read it; services are told the time."""
    return datetime.now(UTC)


@cache
def static(path: str) -> str:
    """Address of a shipped file, with its content's hash so that it may be cached for ever."""
    digest = hashlib.sha256((STATIC / path).read_bytes()).hexdigest()[:12]
    return f"/static/{path}?v={digest}"


def templates(settings: Settings) -> Environment:
    """The one template environment: undefined names are errors, everything is escaped."""
    environment = Environment(
        loader=FileSystemLoader(shipped("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        cache_size=400,
    )
    # A page writes the same times and addresses over and over.
    environment.filters["moment"] = lru_cache(4096)(partial(words.moment_words, zone=settings.zone))
    environment.filters["urlencode"] = lru_cache(4096)(environment.filters["urlencode"])
    environment.filters["day"] = words.day_words
    environment.filters["duration"] = words.duration_words
    environment.filters["verdict_words"] = words.verdict_words
    environment.filters["degrees"] = words.degree_words
    environment.filters["folded"] = fold_working
    environment.globals.update(
        static=static,
        shop_name=settings.shop_name,
        demo=settings.demo,
        zone_name=str(settings.zone),
    )
    return environment


def read_every_template(environment: Environment) -> None:
    """Read all templates now, so that nobody's first page waits for it; a faulty one is told."""
    for name in environment.list_templates():
        environment.get_template(name)


class PageMaker:
    """What a route uses to answer: :meth:`show` a template or :meth:`see_other` address."""

    def __init__(self, request: Request) -> None:
        self._request = request
        self._environment: Environment = request.app.state.templates

    @property
    def settings(self) -> Settings:
        """The program's settings."""
        settings: Settings = self._request.app.state.settings
        return settings

    def shop_time(self) -> datetime:
        """The clock, in the shop's zone: its day is the shop's day."""
        return now().astimezone(self.settings.zone)

    def show(self, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
        """The page; ``values`` are finished: a template neither queries nor computes."""
        visitor = getattr(self._request.state, "visitor", None)
        notice = cookies.taken(self._request, cookies.NOTICE)
        content = self._environment.get_template(template).render(
            visitor=visitor,
            here=self._request.url.path,
            notice=unquote(notice) or None,
            now=now(),
            **values,
        )
        response = HTMLResponse(content, status_code=status)
        if notice:
            cookies.drop(response, self.settings, cookies.NOTICE)
        return response

    def part(self, template: str, **values: Any) -> Markup:
        """A part of a page that is the same for every visitor."""
        return Markup(self._environment.get_template(template).render(**values))  # noqa: S704 - ours

    def see_other(self, *parts: str, notice: str | None = None) -> Response:
        """Send the reader on after a form was taken (303). ``parts`` are joined with ``/``.

        The first part is a path of ours and stands as it is; the others are escaped. ``notice`` is
        the sentence that the next page shows once.
        """
        address = "/".join([parts[0], *(quote(part, safe="") for part in parts[1:])])
        response = RedirectResponse(address, status_code=303)
        if notice:
            cookies.put(response, self.settings, cookies.NOTICE, quote(notice), seconds=60)
        return response


# Coroutines, though nothing is awaited: a plain function would be sent to another thread first,
# which takes longer than what these two do.
async def _page(request: Request) -> PageMaker:
    return PageMaker(request)


async def _records(request: Request) -> Database:
    database: Database = request.app.state.database
    return database


Page = Annotated[PageMaker, Depends(_page)]
Records = Annotated[Database, Depends(_records)]


def problem_page(
    request: Request,
    *,
    status: int,
    title: str,
    sentence: str,
    fields: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """The page that says why something cannot be shown or done, and what to do."""
    return PageMaker(request).show(
        "web/problem.html", status=status, title=title, sentence=sentence, fields=dict(fields or {})
    )
