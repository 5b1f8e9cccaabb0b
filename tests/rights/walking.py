"""What the walk over every address is made of: people who sign in once, and addresses filled in."""

import re
from typing import Any

from fastapi import FastAPI
from starlette.testclient import TestClient

from app.people.rights import Role
from tests.visits import PASSWORD

USERS = {
    Role.INSPECTOR: "mara",
    Role.SUPERVISOR: "ines",
    Role.ENGINEER: "tomas",
    Role.AUDITOR: "olek",
    Role.ADMINISTRATOR: "rune",
}
_ENDS_SIGN_IN = {"/sign-in", "/unlock", "/sign-out", "/account/sign-out-everywhere"}
_CODES = {
    "/panels/": "P-0001",
    "/machine/panels/": "P-0001",
    "/loads/": "L-0001",
    "/live/": "L-0001",
    "/coupons/": "C-0001-1",
    "/furnaces/": "FN-1",
    "/testers/": "HT-1",
    "/blocks/": "RB-HT-1",
    "/gauges/": "VG-1",
    "/sensors/": "TC-L-0001-1",
    "/tables/": "AT-1",
    "/cycles/": "CY-1",
    "/procedures/": "PY-1",
    "/lots/": "LOT-1",
    "/rests-on/": "FN-1",
}


def filled(path: str) -> str:
    """An address of the path, of things that are on record where the invented shop has them."""
    code = next((code for start, code in _CODES.items() if path.startswith(start)), "X-1")
    address = path.replace("{code:path}", code).replace("{code}", code)
    address = address.replace("{panel:path}", "P-0001").replace("{username}", "deniz")
    return re.sub(r"\{[^}]+\}", "1", address)


class Walker:
    """Sends as whoever is named, each with the sign-in they got once; or as nobody."""

    def __init__(self, app: FastAPI) -> None:
        self.client = TestClient(app, follow_redirects=False)
        self._cookies: dict[str, str] = {}
        self.csrf: dict[str, str] = {}

    def send(
        self,
        method: str,
        address: str,
        by: str | None,
        *,
        token: str = "",
        site: str = "",
        **sent: Any,
    ) -> Any:
        """The answer; a form carries the sign-in's own token and ``data``; ``site`` says whence."""
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        if site:
            headers["Sec-Fetch-Site"] = site
        if by is not None:
            self._sign_in(by)
            headers["Cookie"] = self._cookies[by]
        if method == "POST":
            data = {"csrf": self.csrf.get(by or "", "0" * 64), **sent.pop("data", {})}
            answer = self.client.post(address, data=data, headers=headers, **sent)
        else:
            answer = self.client.get(address, headers=headers)
        self.client.cookies.clear()
        if method == "POST" and by is not None and address in _ENDS_SIGN_IN:
            del self._cookies[by]
        return answer

    def _sign_in(self, username: str) -> None:
        if username not in self._cookies:
            self.sign_in_with(username, PASSWORD)

    def sign_in_with(self, username: str, password: str) -> None:
        """Sign in anew, in place of an earlier sign-in."""
        answer = self.client.post("/sign-in", data={"username": username, "password": password})
        assert answer.status_code == 303, answer.text
        found = re.search(r'name="csrf" value="([0-9a-f]{64})"', self.client.get("/people").text)
        assert found
        self.csrf[username] = found[1]
        self._cookies[username] = "; ".join(f"{k}={v}" for k, v in self.client.cookies.items())
        self.client.cookies.clear()
