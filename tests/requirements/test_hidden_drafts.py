"""While a draft may be keyed blind, no address shows its values to anybody but its writer."""

import json
from copy import deepcopy
from decimal import Decimal
from typing import Any

import pytest

from app.database import Database
from app.requirements import service
from app.requirements.records import RequirementKind
from app.requirements.rules import ShopRules
from app.requirements.service import KINDS, Named
from tests.makers import CYCLE_PAPER, NOW, TABLE_PAPER, Shop
from tests.requirements.papers import PROCEDURE, keyed, written
from tests.requirements.test_corrections import CURVED
from tests.visits import Visit, words

SIGNS = {
    RequirementKind.ACCEPTANCE_TABLE: "71.93",
    RequirementKind.CYCLE: "7.713",
    RequirementKind.PYROMETRY_PROCEDURE: "6.1719",
    RequirementKind.CORRECTION_TABLE: "3.9173",
}
"""A figure that stands in the draft of each kind, and nowhere else."""
B = Named(RequirementKind.ACCEPTANCE_TABLE, "AT-1", "B")
BECAUSE = "the least hardness was transposed"


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """One kind: what is asked here is asked of the pages."""
    return sqlite_url


@pytest.fixture
def shop(database: Database) -> Shop:
    return Shop(database)


def _table(shop: Shop, minimum: str, **changed: Any) -> Named:
    paper = deepcopy(TABLE_PAPER) | {"revision": "B"}
    paper["entries"][0]["criteria"][0] |= {"min": minimum, "correction": "CC-9"}
    return service.write_table(
        shop.database, code="AT-1", paper=json.dumps(paper), **_by(shop), **changed
    )


def _by(shop: Shop) -> dict[str, Any]:
    by = {"source_document": "a document", "by": shop.engineer, "at": NOW}
    return {"filename": "x.json", **by}


def _drafts(shop: Shop) -> list[Named]:
    """A draft of each kind that is keyed, with its sign; the tables are at a second attempt."""
    signs = SIGNS
    _table(shop, "70.17")
    table = _table(shop, signs[B.kind], again=BECAUSE)
    cycle = service.write_cycle(
        shop.database,
        code="CY-1",
        revision="B",
        paper=json.dumps(CYCLE_PAPER),
        shop_rules=ShopRules(2, 2, Decimal(signs[RequirementKind.CYCLE]), Decimal(5)),
        **_by(shop),
    )
    paper = deepcopy(PROCEDURE)
    paper["classes"][0]["uniformity_c"] = signs[RequirementKind.PYROMETRY_PROCEDURE]
    procedure = service.write_procedure(
        shop.database, code="PY-9", paper=json.dumps(paper), **_by(shop)
    )
    grid = deepcopy(CURVED)
    grid["additions"][0][0] = signs[RequirementKind.CORRECTION_TABLE]
    correction = service.write_correction_table(
        shop.database, code="CC-9", paper=json.dumps(grid), **_by(shop)
    )
    return [table, cycle, procedure, correction]


def _addresses(shop: Shop, named: Named) -> list[str]:
    """Every address at which a value of the draft could stand, by whichever way it is asked."""
    kind = KINDS[named.kind]
    place, asked = f"{kind.place}/{named.code}", f"revision={named.revision}"
    key = written(shop.database, named).id
    return [
        f"{place}/paper?{asked}",
        f"{place}?{asked}",
        f"{place}?{asked}&attempt=1",
        f"{place}?{asked}&beside={key - 1}",
        f"{place}?{asked}&beside=1",
        f"{place}?beside={key}",
        f"{kind.again}?code={named.code}&{asked}",
        f"{kind.register}?code={named.code}",
        f"{place}/keying?{asked}",
    ]


def test_each_address_hides_a_draft_until_it_is_keyed_alike(shop: Shop, visit: Visit) -> None:
    drafts = _drafts(shop)
    addresses = [(each, named) for named in drafts for each in _addresses(shop, named)]
    visit.sign_in("olek")
    last = _last_entry(visit)
    addresses += [(f"/trail/{number}", drafts[0]) for number in range(last - 4, last + 1)]
    addresses += [("/what-if?table=AT-1&revision=B", drafts[0]), ("/rests-on/CC-9", drafts[0])]
    signs = (*SIGNS.values(), "70.17")

    def shown() -> dict[str, tuple[int, str]]:
        found = {address: visit.get(address) for address, _ in addresses}
        return {each: (answer.status_code, answer.text) for each, answer in found.items()}

    visit.sign_in("deniz")
    for address, (status, text) in shown().items():
        assert status in {200, 403}, (address, status)
        for sign in signs:
            assert sign not in text, (address, sign)
        if "/paper?" in address or "what-if" in address:
            assert status == 403, address
            assert "shown to its writer alone until a second person has keyed" in words(text)
        if address.startswith("/rests-on"):
            assert "asks for it" not in text
    visit.sign_in("tomas")
    own = shown()
    for named in drafts:
        paper, page, *_ = (own[each] for each, of in addresses if of == named)
        assert (paper[0], SIGNS[named.kind] in page[1]) == (200, True)
    assert "70.17" in own["/tables/AT-1?revision=B&attempt=1"][1]
    assert "asks for it" in own["/rests-on/CC-9"][1]
    assert "NOT A RECORD" in own["/what-if?table=AT-1&revision=B"][1]
    # One keying that differs shows what differs, and no more.
    keyed(shop.database, B, shop.second, entry_1__hardness_hrb__minimum="71.39")
    visit.sign_in("ines")
    page = words(visit.get("/tables/AT-1?revision=B").text)
    assert "Entry 1, hardness HRB, minimum 71.93 71.39" in page
    assert visit.get("/tables/AT-1/paper?revision=B").status_code == 403
    for named in drafts:
        keyed(shop.database, named, shop.second)
    for named in drafts:
        paper, page, *_ = _addresses(shop, named)
        assert visit.get(paper).status_code == 200
        assert SIGNS[named.kind] in visit.get(page).text
    assert visit.get("/what-if?table=AT-1&revision=B").status_code == 200


def _last_entry(visit: Visit) -> int:
    found = visit.get("/trail").text.split('href="/trail/')
    return max(int(one.split('"')[0]) for one in found[1:] if one.split('"')[0].isdigit())
