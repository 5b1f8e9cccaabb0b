"""What stands out on the trail: the rules, each kind alone, without a database."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from app.audit.chain import canonical, entry_body
from app.audit.facts import moment_text
from app.audit.tags import Tag
from app.trail.rules.exceptions import BY_TAG, NEVER, Beside, EntryRead, Kind, outstanding
from app.trail.rules.glance import ALWAYS, SOMETIMES, may_stand_out
from app.trail.rules.writing import as_csv, column_words, content_words, plain_cell

NOW = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
QUIET = Tag.READINGS_RECORDED


def _entry(tag: Tag, *rows: tuple[str, dict[str, Any]], **changed: Any) -> EntryRead:
    given: dict[str, Any] = {
        "number": 7,
        "at": NOW,
        "by": "mara",
        "tag": tag.value,
        "about_kind": "coupon",
        "about_code": "C-1",
        "note": "as noted",
        "rows": [{"table": table, "key": "5", "columns": columns} for table, columns in rows],
    }
    return EntryRead(**(given | changed))


def _kinds(entry: EntryRead, beside: Beside | None = None) -> list[Kind]:
    kinds = [each.kind for each in outstanding([entry], beside or Beside())]
    # What stands out is never passed over unread.
    bound = canonical(entry_body(**_written(entry))).decode()
    assert not kinds or may_stand_out(entry.tag, entry.at, bound)
    return kinds


def _written(entry: EntryRead) -> dict[str, Any]:
    return {
        "number": entry.number,
        "at": moment_text(entry.at),
        "by": entry.by,
        "tag": entry.tag,
        "about": (entry.about_kind, entry.about_code),
        "note": entry.note,
        "rows": list(entry.rows),
        "previous": "0" * 64,
    }


def _at(**back: int) -> str:
    return (NOW - timedelta(**back)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def test_every_kind_is_found_where_it_is_and_only_there() -> None:
    turned = Beside(verdicts_before={("coupon_verdict", "5"): "conforms"})
    shared = Beside(shared_numbers={"4711": ["mara", "mara.q"]})
    series = Beside(refusals={"C-1": [NOW - timedelta(hours=1), NOW - timedelta(minutes=1), NOW]})
    seen = set(BY_TAG.values())
    for tag, kind in BY_TAG.items():
        assert _kinds(_entry(tag)) == [kind]
    cases: list[tuple[Kind, EntryRead, Beside, EntryRead, Beside]] = [
        (
            Kind.LATE,
            _entry(QUIET, ("reading", {"taken_at": _at(seconds=1), "late_reason": "the PC"})),
            Beside(),
            _entry(QUIET, ("reading", {"taken_at": _at(hours=1), "late_reason": None})),
            Beside(),
        ),
        (
            Kind.LATE,
            _entry(QUIET, ("custody_step", {"taken_at": _at(hours=1, seconds=1)})),
            Beside(),
            _entry(QUIET, ("reading", {"taken_at": _at(hours=9), "entered_at": _at(hours=8)})),
            Beside(),
        ),
        (
            Kind.TURNED,
            _entry(QUIET, ("coupon_verdict", {"verdict": "does_not_conform"})),
            turned,
            _entry(QUIET, ("coupon_verdict", {"verdict": "conforms"})),
            turned,
        ),
        (
            Kind.TURNED,
            _entry(QUIET, ("record_verdict", {"verdict": "not_proven"})),
            Beside(verdicts_before={("record_verdict", "5"): "conforms"}),
            _entry(QUIET, ("record_verdict", {"verdict": "conforms"})),
            Beside(verdicts_before={("record_verdict", "5"): "not_proven"}),
        ),
        (
            Kind.SIGN_IN_REFUSED,
            _entry(Tag.SIGN_IN_REFUSED, by="-"),
            series,
            _entry(Tag.SIGN_IN_REFUSED, by="-", at=NOW + timedelta(seconds=1)),
            series,
        ),
        (
            Kind.RECORD_REPLACED,
            _entry(Tag.RECORD_IMPORTED, ("furnace_record", {"replaces_id": 1})),
            Beside(),
            _entry(Tag.RECORD_IMPORTED, ("furnace_record", {"replaces_id": None})),
            Beside(),
        ),
        (
            Kind.WRITTEN_AGAIN,
            _entry(Tag.CYCLE_WRITTEN, ("requirement_revision", {"attempt": 2, "revision": "A"})),
            Beside(),
            _entry(Tag.CYCLE_WRITTEN, ("requirement_revision", {"attempt": 1, "revision": "A"})),
            Beside(),
        ),
        (
            Kind.KEYED_OTHERWISE,
            _entry(Tag.VALUES_KEYED_AGAIN, ("second_keying", {"differences": [["a", "1", "2"]]})),
            Beside(),
            _entry(Tag.VALUES_KEYED_AGAIN, ("second_keying", {"differences": []})),
            Beside(),
        ),
        (
            Kind.ONE_PERSON,
            _entry(Tag.PERSON_ADDED, ("person", {"identity_number": "4711"})),
            shared,
            _entry(Tag.PERSON_ADDED, ("person", {"identity_number": "4712"})),
            shared,
        ),
        (
            Kind.PASSWORD_BY_ANOTHER,
            _entry(Tag.PASSWORD_SET, about_code="ines"),
            Beside(),
            _entry(Tag.PASSWORD_SET, about_code="mara"),
            Beside(),
        ),
    ]
    for kind, entry, beside, quiet, quiet_beside in cases:
        assert _kinds(entry, beside) == [kind], kind
        assert _kinds(quiet, quiet_beside) == [], kind
        seen.add(kind)
    assert seen == set(Kind)
    assert not set(BY_TAG) & {Tag(tag) for tag in NEVER}
    for kind, entry, beside, *_ in cases:
        acts = SOMETIMES.get(kind)
        # Where a kind is looked for by its act alone, no other act has it.
        other = replace(entry, tag=QUIET.value)
        assert acts is None or (entry.tag in acts and kind not in _kinds(other, beside))
    assert not ALWAYS.keys() & {kind for kind, *_ in cases}


def test_a_retired_tag_and_an_entry_of_several_kinds_are_read() -> None:
    late = ("reading", {"taken_at": _at(days=1), "late_reason": "on paper first"})
    both = outstanding([_entry(Tag.READING_CORRECTED, late)], Beside())
    assert [each.kind for each in both] == [Kind.LATE, Kind.CORRECTION]
    assert "on paper first" in both[0].words
    assert both[1].words == "as noted"
    assert len({each.place for each in both}) == 2
    assert _kinds(replace(_entry(QUIET), tag="bench:old:act")) == []
    refused = _entry(Tag.ACT_REFUSED, note="")
    assert outstanding([refused], Beside())[0].words == "act refused"


def test_cells_are_no_formulas_and_columns_are_words() -> None:
    """Formula injection: an apostrophe before the signs that begin a formula; common practice."""
    for cell in ("=1+1", "+1", "-1", "@x", "\tx", "\rx"):
        assert plain_cell(cell) == f"'{cell}"
    assert plain_cell("a=1") == "a=1"
    assert as_csv(["a"], [["=x"], ['say "no"'], [7]]) == 'a\r\n\'=x\r\n"say ""no"""\r\n7\r\n'
    assert column_words("thickness_mm") == "thickness (mm)"
    assert column_words("uniformity_c") == "uniformity (°C)"
    assert column_words("registered_by_id") == "registered by"
    assert column_words("paper_sha256") == "paper, SHA-256"
    assert column_words("in_force_from") == "in force from"
    assert content_words(None) == content_words([]) == "nothing"
    assert content_words({"sha256": "ab"}) == "SHA-256 ab"
    assert [content_words(c) for c in (True, ["a", "b"], 7, {"a": 1})] == [
        "yes",
        "a, b",
        "7",
        "{'a': 1}",
    ]
