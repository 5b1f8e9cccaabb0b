"""A bare page to compare with: FastAPI, SQLAlchemy and Jinja2, thirty rows out of three tables.

The same server, the same kind of route and session and the same SQLite settings as the
application's, and nothing else: no sign-in, no judging, no base template. Takes a folder and a
port.
"""

import sys
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from jinja2 import Environment
from sqlalchemy import ForeignKey, create_engine, event, select
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

ROWS = 30
_PAGE = """<!doctype html>
<html lang="en"><head><title>{{ title }}</title></head><body><h1>{{ title }}</h1>
<table><tr><th>Book</th><th>Pages</th><th>Author</th><th>Town</th></tr>
{% for book, author, town in rows %}
<tr><td>{{ book.title }}</td><td>{{ book.pages }}</td><td>{{ author.name }}</td>\
<td>{{ town.name }}</td></tr>
{% endfor %}
</table></body></html>
"""


class _Base(DeclarativeBase):
    pass


class _Town(_Base):
    __tablename__ = "town"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]


class _Author(_Base):
    __tablename__ = "author"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    town_id: Mapped[int] = mapped_column(ForeignKey("town.id"))


class _Book(_Base):
    __tablename__ = "book"
    id: Mapped[int] = mapped_column(primary_key=True)
    title: Mapped[str]
    pages: Mapped[int]
    author_id: Mapped[int] = mapped_column(ForeignKey("author.id"))


def _prepare(connection: Any, _record: Any) -> None:
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}")


def bare_app(folder: Path) -> FastAPI:
    engine = create_engine(f"sqlite:///{folder / 'bare.sqlite'}", pool_size=10)
    event.listen(engine, "connect", _prepare)
    _Base.metadata.create_all(engine)
    with Session(engine) as session, session.begin():
        session.add_all(_Town(id=n, name=f"Town {n}") for n in range(1, 6))
        session.flush()
        session.add_all(_Author(id=n, name=f"Author {n}", town_id=n % 5 + 1) for n in range(1, 11))
        session.flush()
        session.add_all(
            _Book(title=f"Book {n}", pages=100 + n, author_id=n % 10 + 1) for n in range(ROWS)
        )
    template = Environment(autoescape=True).from_string(_PAGE)
    wanted = (
        select(_Book, _Author, _Town)
        .join(_Author, _Author.id == _Book.author_id)
        .join(_Town, _Town.id == _Author.town_id)
        .order_by(_Book.id)
    )
    app = FastAPI()

    @app.get("/", response_class=HTMLResponse)
    def show() -> str:
        with Session(engine) as session:
            rows = session.execute(wanted).all()
            return template.render(title="Books", rows=rows)

    return app


if __name__ == "__main__":
    uvicorn.run(bare_app(Path(sys.argv[1])), port=int(sys.argv[2]), log_level="warning")
