"""Filling the demonstration: an act that was refused, signed heads, a review of the trail."""

from datetime import datetime
from functools import partial
from pathlib import Path

from app.errors import NotAllowed
from app.panels.queries import panel as panel_of
from app.people.service.refused_acts import record_refused_act
from app.release.queries.panel_facts import panel_facts
from app.release.service import case_of, release_panel
from app.trail.queries.reviews import last_entry, stretch
from app.trail.rules.exceptions import Outstanding
from app.trail.service import Answer, open_key, review_trail, sign_head
from seed_demo.diary import FIRST_DAY, DemoShop
from seed_demo.scenario import PEOPLE
from seed_demo.scenario_decided import REFUSED_ON

_AUDITOR, _REFUSED = "jlindqvane", "imorrowby"
_REVIEWED_DAYS_AGO = 6
_HEADS_DAYS_AGO = (31, 1)
FIRST_HEAD = len(PEOPLE) + 1
"""So many entries the first head covers: every account, and the key it is signed with."""


def enter_trail(shop: DemoShop, key_file: Path, shop_name: str, password: str) -> None:
    """Heads on the first day and a month apart, a review, and an attempt that was refused."""
    shop.enter(shop.day(FIRST_DAY, 7, 10), partial(_sign, shop, key_file, shop_name))
    for days in _HEADS_DAYS_AGO:
        shop.enter(shop.day(days, 6, 30), partial(_sign, shop, key_file, shop_name))
    shop.enter(shop.day(_REVIEWED_DAYS_AGO, 15, 45), partial(_review, shop, password))
    shop.enter(shop.day(1, 17, 25), partial(_refused, shop, password))


def _sign(shop: DemoShop, key_file: Path, shop_name: str, at: datetime) -> None:
    by = shop.people[_AUDITOR]
    sign_head(shop.database, open_key(key_file), by=by, at=at, shop=shop_name)


def _review(shop: DemoShop, password: str, at: datetime) -> None:
    """Up to now, as far as one review goes; each exception is answered."""
    by = shop.people[_AUDITOR]
    with shop.database.read() as session:
        covered = stretch(session, by, through=last_entry(session))
    review_trail(
        shop.database,
        through=covered.last,
        answers={each.place: _answer(each) for each in covered.to_answer},
        remark="Read beside the shift books of the same weeks.",
        password=password,
        by=by,
        at=at,
    )


def _answer(each: Outstanding) -> Answer:
    """Some are remarked on, so that both kinds of answer can be seen."""
    if each.entry.number % 3:
        return Answer(no_action=True)
    return Answer(remark="Compared with the shift book: as entered.")


def _refused(shop: DemoShop, password: str, at: datetime) -> None:
    """Somebody tries to release a panel on readings of their own, and is refused."""
    by = shop.people[_REFUSED]
    with shop.database.read() as session:
        key = panel_of(session, REFUSED_ON).id
        seen = case_of(panel_facts(session, [key], zone=shop.zone, in_full=True)[key]).seen
    try:
        release_panel(
            shop.database,
            REFUSED_ON,
            seen=seen,
            password=password,
            by=by,
            at=at,
            zone=shop.zone,
        )
    except NotAllowed as refusal:
        path = f"/panels/{REFUSED_ON}/release"
        record_refused_act(shop.database, refusal.sentence, path=path, by=by.username, at=at)
