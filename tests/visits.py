"""Use the pages over HTTP as a browser without script would."""

import re
from types import TracebackType
from typing import Any, Self

from fastapi import FastAPI
from starlette.testclient import TestClient

PASSWORD = "correct horse battery"  # noqa: S105 - of the invented people in the tests
"""The password of everybody that tests.makers adds."""


class Visit:
    """One browser. ``get`` and ``post`` hand back the response; forms carry the page's token."""

    def __init__(self, app: FastAPI) -> None:
        self.client = TestClient(
            app, base_url="http://testserver", follow_redirects=False, raise_server_exceptions=True
        )

    def __enter__(self) -> Self:
        self.client.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.client.__exit__(kind, error, trace)

    def sign_in(self, username: str, password: str = PASSWORD) -> None:
        """Sign in, leaving whoever was signed in before."""
        self.client.cookies.clear()
        answer = self.client.post("/sign-in", data={"username": username, "password": password})
        assert answer.status_code == 303, answer.text

    def get(self, address: str) -> Any:
        """Open a page."""
        return self.client.get(address)

    def post(self, address: str, files: Any = None, **fields: Any) -> Any:
        """Send a form as the signed-in person; does not follow the answer's redirect."""
        return self.client.post(address, data={"csrf": self.csrf(), **fields}, files=files)

    def follow(self, answer: Any) -> Any:
        """The page that a taken form leads to."""
        assert answer.status_code == 303, (answer.status_code, words(answer.text))
        return self.get(answer.headers["location"])

    def csrf(self) -> str:
        """The token that the pages of this sign-in carry in their forms."""
        found = re.search(r'name="csrf" value="([0-9a-f]{64})"', self.get("/people").text)
        assert found, "no form with a token on the page"
        return found[1]


def without_secrets(html: str) -> str:
    """A page without its random signs, in which any three figures turn up now and then."""
    return re.sub(r"[0-9a-f]{32,}", "", html)


def words(html: str) -> str:
    """A page's text without its tags, for messages of failed tests."""
    text = re.sub(r"<(script|style).*?</\1>|<[^>]+>", " ", html, flags=re.DOTALL)
    return re.sub(r"\s+", " ", text)
