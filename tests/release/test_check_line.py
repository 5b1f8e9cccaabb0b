"""Check lines of printed dossiers: every slip of keying is found; what overtook a paper is told."""

import hashlib
import re
import string
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.errors import Refusal
from app.release.rules.check_line import (
    check_line,
    decision_of,
    is_whole_line,
    read_line,
    short_line,
)
from app.release.rules.facts import (
    DecisionFacts,
    DecisionKind,
    HoldFacts,
    NonconformanceFacts,
    PanelFacts,
)
from app.release.rules.paper import Answer, Said, foreign, told_of
from app.release.rules.signed import signature_standing
from app.release.rules.standing import standing_of

SIGNED_AT = datetime(2026, 4, 24, 9, 30, 15, 123456, tzinfo=UTC)
DAY = timedelta(days=1)
MADE = DecisionFacts(
    number=2,
    kind=DecisionKind.RELEASED,
    reason="",
    evidence_sha256="ab" * 32,
    decided_by_id=2,
    decided_at=SIGNED_AT,
    printed_name="Deniz Okoro",
    meaning="I have read the evidence and release this panel.",
    signed_sha256="cd" * 32,
)
PANEL = PanelFacts(
    id=1,
    code="WP-2207/L",
    lot_code="LOT-1",
    alloy="Q-77",
    incoming_temper="W",
    form="plate",
    thickness_mm="12.5",
    cast="CAST-1",
    certificate="MC-1",
    drawing="D-1",
    order_number="O-1",
    target_temper="K1",
    length_mm="14000",
    width_mm="2600",
    treatments_most=2,
    treatments_before=0,
    decided="released",
    registered_by_id=1,
    registered_at=SIGNED_AT - DAY,
    decisions=(replace(MADE, number=1, kind=DecisionKind.NO_DEPARTURE), MADE),
)
LINE = check_line(PANEL.code, MADE)


def _finds(typed: str, panel: str = "") -> DecisionFacts | None:
    return decision_of(PANEL, read_line(typed, panel))


def test_the_line_is_the_digest_of_what_the_decision_keeps() -> None:
    # FIPS 180-4, written out by hand: panel, number, kind, signer, moment, evidence.
    text = (
        f'["WP-2207/L",2,"released","Deniz Okoro","2026-04-24T09:30:15.123456+00:00","{"ab" * 32}"]'
    )
    whole = hashlib.sha256(text.encode()).hexdigest().upper()
    groups = re.fullmatch("(.{4})(.{4})(.{4})(.{4})", whole[:16])
    assert groups
    assert f"WP-2207/L:2:{'-'.join(groups.groups())}" == LINE
    lisbon = replace(MADE, decided_at=SIGNED_AT.astimezone(ZoneInfo("Europe/Lisbon")))
    assert check_line(PANEL.code, lisbon) == LINE
    changes: list[dict[str, Any]] = [
        {"number": 3},
        {"kind": DecisionKind.USE_AS_IS},
        {"printed_name": "Deniz Okoru"},
        {"decided_at": SIGNED_AT + timedelta(microseconds=1)},
        {"evidence_sha256": "ab" * 31 + "ac"},
    ]
    lines = {short_line(PANEL.code, replace(MADE, **changed))[2:] for changed in changes}
    lines |= {short_line("WP-2207/R", MADE)[2:], LINE.rpartition(":")[2]}
    assert len(lines) == len(changes) + 2
    # What comes after it is no part of it.
    assert check_line(PANEL.code, replace(MADE, authorisation_ended_at=SIGNED_AT + DAY)) == LINE


def test_a_line_is_found_however_it_is_keyed() -> None:
    signs = LINE.rpartition(":")[2]
    for typed in (LINE, LINE.lower(), LINE.replace("-", "\u2013").replace("WP\u2013", "WP-")):
        assert _finds(typed) == MADE, typed
        assert is_whole_line(typed), typed
    apart = f" WP-2207/L : 2 : {signs.replace('-', ' ')} "
    for typed in (f"]Q1{LINE}", apart, f"WP-2207/L:2:{signs.replace('-', '')}"):
        assert _finds(typed) == MADE, typed
        assert is_whole_line(typed), typed
    for typed in (f"WP-2207/L 2 {signs}", f"WP-2207/L {signs.replace('-', ' ')}"):
        assert _finds(typed) == MADE, typed
    for typed in (f"2:{signs}", f"2 {signs.lower()}", signs, signs.replace("-", " "), LINE):
        assert _finds(typed, "wp-2207/l ") == MADE, typed
    for typed in ("", "WP-2207/L", "12:3", f"WP-2207/L {signs}", f"2:{signs}", "http://a:80/b"):
        assert not is_whole_line(typed), typed


def test_every_wrong_sign_and_every_exchange_of_neighbours_is_found() -> None:
    def same(one: str, other: str) -> bool:
        """Blanks and hyphens among the sixteen signs are free."""
        (first, _, tail), (second, _, rest) = one.rpartition(":"), other.rpartition(":")
        loose = str.maketrans("", "", " -")
        return (first, tail.translate(loose)) == (second, rest.translate(loose))

    keyed = [
        LINE[:place] + sign + LINE[place + 1 :]
        for place in range(len(LINE))
        for sign in string.ascii_uppercase + string.digits + " -/.:"
    ]
    keyed += [
        LINE[:place] + LINE[place + 1] + LINE[place] + LINE[place + 2 :]
        for place in range(len(LINE) - 1)
    ]
    keyed += [LINE[:place] + LINE[place + 1 :] for place in range(len(LINE))]
    wrong = [typed for typed in keyed if not same(typed, LINE)]
    assert len(wrong) > 1000
    for typed in wrong:
        try:
            found = _finds(typed)
        except Refusal:
            continue
        assert found is None, typed


REFUSED = {
    "": "Key the check line as it stands on the paper",
    "WP-2207/L:2:4F2A-91C0-77DE": "12 signs stand at its end where 16 belong",
    "WP-2207/L:2:4F2A-91C0-77DE-0B13-A": "17 signs stand at its end where 16 belong",
    "WP-2207/L:2:4F2A-91C0-77DE-OB13": "“O” is no sign of a check line",
    "WP-2207/L:Z:4F2A-91C0-77DE-0B13": "“Z” is no number of a decision",
    "WP-2207/L:1:2:4F2A-91C0-77DE-0B13": "three parts: panel, decision, and signs",
    "4F2A-91C0-77DE-0B13": "Key the panel too",
    "WP-2207/L": "7 signs stand at its end|is no sign of a check line",
}


@pytest.mark.parametrize("typed", REFUSED)
def test_a_line_that_cannot_be_one_is_told_why(typed: str) -> None:
    with pytest.raises(Refusal, match=REFUSED[typed]):
        read_line(typed)


def test_a_line_of_another_panel_than_the_one_named_is_told() -> None:
    with pytest.raises(Refusal, match="names panel WP-2207/L, and here stands P-9"):
        read_line(LINE, "P-9")


SAID = Said({2: "Deniz Okoro", 3: "Ines Vale"}, lambda at: f"{at:%Y-%m-%d}")


def _told(facts: PanelFacts, number: int = 2, **given: Any) -> Any:
    signature = signature_standing(
        facts,
        number,
        is_intact=given.pop("is_intact", True),
        changed=given.pop("changed", ()),
    )
    return told_of(
        facts,
        facts.decisions[number - 1],
        signature=signature,
        standing=standing_of(facts),
        replaced=given.pop("replaced", ()),
        said=SAID,
    )


HOLD = HoldFacts(1, "A dent.", 3, SIGNED_AT + DAY)
DEPARTURE = NonconformanceFacts(1, "N-2026-0001", "A scratch.", 3, SIGNED_AT + DAY, is_open=True)
WITHDRAWN = replace(
    MADE,
    number=3,
    kind=DecisionKind.WITHDRAWN,
    printed_name="Ines Vale",
    decided_at=SIGNED_AT + 2 * DAY,
)


def test_a_paper_is_right_until_something_is_decided_or_held_or_changed() -> None:
    was = "WP-2207/L was released by Deniz Okoro on 2026-04-24"
    told = _told(PANEL)
    assert told.answer is Answer.RIGHT
    assert told.sentence == f"This paper is right: {was}, and nothing was decided or held since."

    overtaken = {
        "it was put on hold by Ines Vale on 2026-04-25: A dent.": _told(
            replace(PANEL, holds=(HOLD,))
        ),
        "decision 3, release withdrawn, was signed by Ines Vale on 2026-04-26.": _told(
            replace(PANEL, decisions=(*PANEL.decisions, WITHDRAWN))
        ),
        "N-2026-0001 was opened by Ines Vale on 2026-04-25 and is open: A scratch.": _told(
            replace(PANEL, nonconformances=(DEPARTURE,))
        ),
        "the evidence was changed, so that its signature has fallen.": _told(
            PANEL, changed=("Coupon C-1: then: a Now: b",)
        ),
        "the decision was altered, so that its signature no longer covers what it says.": _told(
            PANEL, is_intact=False
        ),
        "it was replaced by P-8, P-9.": _told(PANEL, replaced=("it was replaced by P-8, P-9",)),
    }
    for why, told in overtaken.items():
        assert told.answer is Answer.OVERTAKEN
        assert told.sentence == f"This paper is overtaken: {was}, and since then {why}"
        assert told.also == ()
    assert _told(PANEL, changed=("Now: b",)).namely == ("Now: b",)


def test_a_hold_that_was_lifted_or_a_departure_that_is_closed_overtakes_nothing() -> None:
    before = replace(HOLD, placed_at=SIGNED_AT - DAY, lifted_by_number=2)
    closed = replace(DEPARTURE, opened_at=SIGNED_AT - DAY, is_open=False)
    facts = replace(PANEL, holds=(before,), nonconformances=(closed,))
    assert _told(facts).answer is Answer.RIGHT


def test_a_right_paper_of_a_panel_that_is_not_for_use_says_so() -> None:
    held = replace(HOLD, placed_at=SIGNED_AT - DAY)
    facts = replace(PANEL, holds=(held,), decisions=(*PANEL.decisions, WITHDRAWN))
    told = _told(facts, 3)
    # The hold is what the withdrawal left open; one placed later overtakes it.
    assert told.answer is Answer.RIGHT
    assert told.sentence.endswith("since. The panel is not for use: it stands at held.")
    later = replace(facts, holds=(held, replace(HOLD, placed_at=SIGNED_AT + 3 * DAY)))
    assert _told(later, 3).answer is Answer.OVERTAKEN
    # Of an older paper everything that came after is told, the last decision first.
    told = _told(facts)
    assert "and since then decision 3, release withdrawn" in told.sentence
    assert len(told.also) == 1
    assert "A dent" in told.also[0]


def test_no_decision_at_all_is_told_apart_from_another_line() -> None:
    assert "no decision on WP-2207/L has this check line" in foreign(PANEL).sentence
    assert "nothing has been decided on WP-2207/L" in foreign(replace(PANEL, decisions=())).sentence
