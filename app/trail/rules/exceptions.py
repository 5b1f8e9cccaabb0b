"""Which entries of the trail stand out, so that a reviewer answers for each. Pure.

An entry stands out by what was done (its tag), or by what the rows it bound say. Nothing is
guessed: an hour of the day or a person's pace is no exception.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Any

from app.audit.tags import Tag


class Kind(StrEnum):
    """Why an entry stands out."""

    LATE = "entered late"
    VOID = "reading voided, or asked to be"
    CORRECTION = "reading corrected, or asked to be"
    LOT_CORRECTED = "lot's entry corrected, or asked to be"
    TURNED = "verdict turned"
    RETEST = "retest"
    REFUSED = "act refused"
    SIGN_IN_REFUSED = "sign-in refused repeatedly"
    HOLD_LIFTED = "hold lifted"
    RECALL_CLOSED = "release confirmed or withdrawn"
    DISPOSED = "held panel disposed of"
    QUARANTINE = "tester quarantined or used again"
    EXCLUSION = "sensor excluded"
    OTHER_LOT = "coupon of another lot accepted"
    RECORD_REPLACED = "furnace record replaced"
    TROUBLE = "coupon missing, unmarked or doubled"
    WITHDRAWN = "requirement withdrawn"
    WRITTEN_AGAIN = "draft written again"
    KEYED_OTHERWISE = "second keying differed"
    ONE_PERSON = "two accounts of one person"
    PASSWORD_BY_ANOTHER = "password set by another"  # noqa: S105 - a kind's name
    AUTHORISATION_ENDED = "authorisation ended"
    TOKEN_ISSUED = "token issued"  # noqa: S105 - a kind's name


@dataclass(frozen=True, slots=True)
class EntryRead:
    """An entry with the rows it bound, as it stands on the trail."""

    number: int
    at: datetime
    by: str
    tag: str
    about_kind: str
    about_code: str
    note: str
    rows: Sequence[Mapping[str, Any]] = ()


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands on record beside the entries that are looked at.

    ``verdicts_before``: by table and key of a verdict's row, the verdict it took the place of.
    ``shared_numbers``: user names by the identity number that several accounts have.
    ``refusals``: when sign-ins were refused, by the name typed, oldest first.
    """

    verdicts_before: Mapping[tuple[str, str], str] = field(default_factory=dict)
    shared_numbers: Mapping[str, Sequence[str]] = field(default_factory=dict)
    refusals: Mapping[str, Sequence[datetime]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Outstanding:
    """One entry that stands out, and why. An entry stands out at most once for each kind."""

    kind: Kind
    entry: EntryRead
    words: str

    @property
    def place(self) -> tuple[int, str]:
        """Entry and kind: what a review's line is about."""
        return self.entry.number, self.kind.value

    @property
    def whose(self) -> str:
        """The account whose act it is; of a refused sign-in, the account it was tried on."""
        refused = self.kind is Kind.SIGN_IN_REFUSED
        return self.entry.about_code if refused else self.entry.by


LATE_AFTER = timedelta(hours=1)
"""What was entered longer after it was taken than this is late; the hour itself is not."""
SERIES = 3
SERIES_WITHIN = timedelta(hours=1)
"""So many sign-ins refused under one name within this time are a series; the hour is included."""

BY_TAG: dict[Tag, Kind] = {
    Tag.VOID_ASKED: Kind.VOID,
    Tag.VOID_DECIDED: Kind.VOID,
    Tag.READING_CORRECTED: Kind.CORRECTION,
    Tag.CORRECTION_ASKED: Kind.CORRECTION,
    Tag.CORRECTION_DECIDED: Kind.CORRECTION,
    Tag.LOT_CORRECTION_ASKED: Kind.LOT_CORRECTED,
    Tag.LOT_CORRECTION_DECIDED: Kind.LOT_CORRECTED,
    Tag.RETEST_OPENED: Kind.RETEST,
    Tag.ACT_REFUSED: Kind.REFUSED,
    Tag.HOLD_LIFTED: Kind.HOLD_LIFTED,
    Tag.UPSTREAM_HOLD_LIFTED: Kind.HOLD_LIFTED,
    Tag.RELEASE_CONFIRMED: Kind.RECALL_CLOSED,
    Tag.RELEASE_WITHDRAWN: Kind.RECALL_CLOSED,
    Tag.PANEL_DISPOSED: Kind.DISPOSED,
    Tag.TESTER_QUARANTINED: Kind.QUARANTINE,
    Tag.QUARANTINE_LIFTED: Kind.QUARANTINE,
    Tag.SENSOR_EXCLUDED: Kind.EXCLUSION,
    Tag.OTHER_LOT_ACCEPTED: Kind.OTHER_LOT,
    Tag.TROUBLE_REPORTED: Kind.TROUBLE,
    Tag.TROUBLE_ANSWERED: Kind.TROUBLE,
    Tag.TABLE_WITHDRAWN: Kind.WITHDRAWN,
    Tag.CYCLE_WITHDRAWN: Kind.WITHDRAWN,
    Tag.PROCEDURE_WITHDRAWN: Kind.WITHDRAWN,
    Tag.MAPPING_WITHDRAWN: Kind.WITHDRAWN,
    Tag.CORRECTION_TABLE_WITHDRAWN: Kind.WITHDRAWN,
    Tag.AUTHORISATION_ENDED: Kind.AUTHORISATION_ENDED,
    Tag.TOKEN_ISSUED: Kind.TOKEN_ISSUED,
    Tag.MACHINE_TOKEN_ISSUED: Kind.TOKEN_ISSUED,
}
"""Acts that always stand out."""

NEVER: frozenset[str] = frozenset(
    tag.value
    for tag in (
        Tag.SIGNED_IN,
        Tag.SIGNED_OUT,
        Tag.LIVE_OPENED,
        Tag.LIVE_ANCHORED,
        Tag.RECORD_LOOKED_OVER,
        Tag.TREE_HEAD_SIGNED,
        Tag.TREE_KEY_REGISTERED,
        Tag.TRAIL_REVIEWED,
    )
)
"""Acts that never do, and are common: their entries need not be read."""


def outstanding(entries: Sequence[EntryRead], beside: Beside) -> list[Outstanding]:
    """Every exception among the entries, in their order; of one entry in the order of the kinds."""
    found = []
    for entry in entries:
        by_kind: dict[Kind, str] = {}
        always = BY_TAG.get(Tag(entry.tag)) if entry.tag in _TAGS else None
        if always is not None:
            by_kind[always] = entry.note or entry.tag.split(":", 1)[1].replace(":", " ")
        for rule in _RULES:
            kind, words = rule(entry, beside)
            if words:
                by_kind[kind] = words
        found += [Outstanding(kind, entry, by_kind[kind]) for kind in Kind if kind in by_kind]
    return found


_TAGS = frozenset(tag.value for tag in Tag)
_Found = tuple[Kind, str]


def _of(entry: EntryRead, table: str) -> list[Mapping[str, Any]]:
    return [row["columns"] for row in entry.rows if row["table"] == table]


def _late(entry: EntryRead, _beside: Beside) -> _Found:
    """A row that says why it came late, or whose taking lies longer back than an hour."""
    told: list[str] = []
    for row in entry.rows:
        columns = row["columns"]
        taken = columns.get("taken_at")
        if columns.get("late_reason"):
            told.append(f"taken {_when(taken)}, reason given: {columns['late_reason']}")
        elif taken:
            entered = _moment(columns.get("entered_at")) or entry.at
            if entered - (_moment(taken) or entered) > LATE_AFTER:
                then = entered.astimezone(UTC).strftime(_TIME)
                told.append(f"taken {_when(taken)}, entered {then}, no reason given")
    return Kind.LATE, "; ".join(dict.fromkeys(told))


_TIME = "%Y-%m-%d %H:%M UTC"


def _when(text: str | None) -> str:
    at = _moment(text)
    return "at no stated time" if at is None else at.astimezone(UTC).strftime(_TIME)


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


_SETTLED = ("conforms", "does_not_conform")


def _turned(entry: EntryRead, beside: Beside) -> _Found:
    """A verdict that stood, other than it was before; one that was not proven may become either."""
    told = []
    for row in entry.rows:
        before = beside.verdicts_before.get((row["table"], row["key"]))
        now = row["columns"].get("verdict")
        if before in _SETTLED and now != before:
            what = "coupon" if row["table"] == "coupon_verdict" else "furnace record"
            told.append(f"the {what}'s verdict was {_spoken(before)} and is {_spoken(now)}")
    return Kind.TURNED, "; ".join(told)


def _spoken(verdict: object) -> str:
    return str(verdict).replace("_", " ")


def _series(entry: EntryRead, beside: Beside) -> _Found:
    """The third refused sign-in under a name within an hour, and every tenth."""
    if entry.tag != Tag.SIGN_IN_REFUSED:
        return Kind.SIGN_IN_REFUSED, ""
    times = beside.refusals.get(entry.about_code, ())
    count = sum(entry.at - SERIES_WITHIN <= at <= entry.at for at in times)
    stands_out = count == SERIES or (count > SERIES and count % 10 == 0)
    words = f"{count} sign-ins as {entry.about_code} were refused within an hour"
    return Kind.SIGN_IN_REFUSED, words if stands_out else ""


def _replaced(entry: EntryRead, _beside: Beside) -> _Found:
    replacing = [row for row in _of(entry, "furnace_record") if row.get("replaces_id") is not None]
    words = entry.note or "another import took its place"
    return Kind.RECORD_REPLACED, words if replacing else ""


def _written_again(entry: EntryRead, _beside: Beside) -> _Found:
    told = [
        f"revision {row['revision']} was written a {row['attempt']}. time"
        for row in _of(entry, "requirement_revision")
        if (row.get("attempt") or 1) > 1
    ]
    return Kind.WRITTEN_AGAIN, "; ".join(told)


def _keyed_otherwise(entry: EntryRead, _beside: Beside) -> _Found:
    told = [
        f"{len(differences)} value{'' if len(differences) == 1 else 's'} keyed otherwise"
        for row in _of(entry, "second_keying")
        if (differences := row.get("differences"))
    ]
    return Kind.KEYED_OTHERWISE, "; ".join(told)


def _one_person(entry: EntryRead, beside: Beside) -> _Found:
    if entry.tag not in {Tag.PERSON_ADDED, Tag.PERSON_CHANGED}:
        return Kind.ONE_PERSON, ""
    told = []
    for row in _of(entry, "person"):
        names = beside.shared_numbers.get(str(row.get("identity_number")), ())
        if row.get("identity_number") and len(names) > 1:
            told.append(f"one identity number: {', '.join(names)} are one person")
    return Kind.ONE_PERSON, "; ".join(told)


def _password(entry: EntryRead, _beside: Beside) -> _Found:
    is_so = entry.tag == Tag.PASSWORD_SET and entry.by != entry.about_code
    return Kind.PASSWORD_BY_ANOTHER, f"for {entry.about_code}" if is_so else ""


_RULES: tuple[Callable[[EntryRead, Beside], _Found], ...] = (
    _late,
    _turned,
    _series,
    _replaced,
    _written_again,
    _keyed_otherwise,
    _one_person,
    _password,
)
