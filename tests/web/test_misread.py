"""An address that says too little, or what is none: a page in words, and JSON for machines."""

import pytest

from app.database import Database
from tests.makers import Shop
from tests.visits import Visit, words


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """One kind: no row is asked for."""
    return sqlite_url


def test_a_misread_address_is_said_in_words(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("mara")
    for address, status, told in (
        ("/tables/AT-1/paper", 422, "This address does not say which revision is meant."),
        ("/lots?before=<b>", 422, "This address says '<b>' for before, which is none."),
        ("/tables/AT-1?attempt=x&beside=y", 422, "says 'x' for attempt, which is none. This"),
        ("/loads/L-1/record/points?from=nan", 422, "says 'nan' for from, which is none."),
        ("/bench/sessions/none", 404, "There is no page at this address."),
    ):
        answer = visit.get(address)
        shown = words(answer.text).replace("&#39;", "'").replace("&lt;", "<").replace("&gt;", ">")
        assert (answer.status_code, told in shown) == (status, True), (address, shown)
        assert answer.headers["content-type"].startswith("text/html")
    # Who is not signed in is asked to do that first, whatever the address says.
    visit.client.cookies.clear()
    assert visit.get("/lots?before=x").headers["location"].startswith("/sign-in")
    for address in ("/machine/tree-heads?since=x", "/live/L-1/next"):
        assert "sentence" in visit.get(address).json(), address
