"""Corrections and voids, on both databases."""

import hashlib
from decimal import Decimal

import pytest

from app.bench import queries, service
from app.bench.records import Reading, VoidCause
from app.database import Database
from app.equipment.records import ReportFile
from app.equipment.rules.reports import SentFile
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.panels.records import Coupon
from tests.bench.bench_makers import Bench, vickers_bench


def test_a_correction_stands_beside_what_it_corrects(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "84.5", "85.5", "85.0")
    saved = bench.correct(coupon, bench.readings(coupon)[1], "85.4", by=bench.shop.inspector)
    assert saved.provisional is False
    old, new = bench.readings(coupon)[1], bench.readings(coupon)[3]
    assert (str(old.value), str(new.value)) == ("85.5", "85.4")
    assert new.replaces_id == old.id
    assert new.taken_at == old.taken_at < new.entered_at
    assert "replaced by a correction" in bench.texts(coupon)


EVIDENCE = "the print-out says 85.5, kept in binder 4"


def _low(bench: Bench, coupon: Coupon) -> Reading:
    return next(one for one in bench.readings(coupon) if str(one.value) == "82.5")


def test_whoever_took_a_reading_asks_a_second_person_to_correct_a_failure(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    assert bench.hard(coupon, "82.5", "85.0", "85.0").verdict == "does_not_conform"
    low = _low(bench, coupon)
    with pytest.raises(Refusal, match="needs evidence and a second person") as refused:
        bench.correct(coupon, low, "85.5", by=bench.shop.inspector)
    assert list(refused.value.fields) == ["evidence"]
    asked = bench.correct(coupon, low, "85.5", by=bench.shop.inspector, evidence=EVIDENCE)
    assert asked.waits
    assert bench.now(coupon).verdict == "does_not_conform"
    assert len(bench.readings(coupon)) == 6
    with pytest.raises(NotAllowed, match="Only a supervisor"):
        bench.answer_correction(coupon, by=bench.shop.second)
    bench.answer_correction(coupon)
    assert bench.now(coupon).verdict == "conforms"
    new = bench.readings(coupon)[-1]
    assert (new.replaces_id, str(new.value), new.evidence) == (low.id, "85.5", EVIDENCE)
    assert new.taken_by_id == bench.shop.inspector.id
    assert new.taken_at == low.taken_at
    with bench.database.read() as session:
        # Who approved a turned result had a hand in it, as who took the readings had.
        assert queries.readers(session, [coupon.id]) == {
            bench.shop.inspector.id,
            bench.shop.supervisor.id,
        }
    with pytest.raises(Conflict, match="answered this request"):
        bench.answer_correction(coupon)


def test_a_second_person_corrects_a_failure_directly_with_evidence(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    with pytest.raises(Refusal, match="needs evidence"):
        bench.correct(coupon, _low(bench, coupon), "85.5", by=bench.shop.second)
    made = bench.correct(
        coupon, _low(bench, coupon), "85.5", by=bench.shop.second, evidence=EVIDENCE
    )
    assert (made.verdict, made.waits) == ("conforms", False)
    assert bench.readings(coupon)[-1].evidence == EVIDENCE


def test_who_took_other_readings_of_the_coupon_is_no_second_person(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon, by=bench.shop.supervisor)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    low = _low(bench, coupon)
    made = bench.correct(coupon, low, "85.5", by=bench.shop.supervisor, evidence=EVIDENCE)
    assert made.waits
    with pytest.raises(NotAllowed, match="took none of the coupon's readings"):
        bench.answer_correction(coupon)


def test_a_declined_correction_changes_nothing_and_may_be_asked_again(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    low = _low(bench, coupon)
    bench.correct(coupon, low, "85.5", by=bench.shop.inspector, evidence=EVIDENCE)
    with pytest.raises(Conflict, match="waits for a second person"):
        bench.correct(coupon, low, "85.4", by=bench.shop.inspector, evidence=EVIDENCE)
    before = len(bench.verdicts(coupon))
    bench.answer_correction(coupon, approved=False)
    assert bench.now(coupon).verdict == "does_not_conform"
    assert len(bench.verdicts(coupon)) == before
    assert len(bench.readings(coupon)) == 3
    assert bench.correct(coupon, low, "85.4", by=bench.shop.inspector, evidence=EVIDENCE).waits


def test_a_request_whose_reading_changed_meanwhile_can_only_be_declined(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    low = _low(bench, coupon)
    bench.correct(coupon, low, "85.5", by=bench.shop.inspector, evidence=EVIDENCE)
    bench.correct(coupon, low, "82.4", by=bench.shop.second)
    with pytest.raises(Conflict, match="corrected already"):
        bench.answer_correction(coupon)
    assert bench.now(coupon).verdict == "does_not_conform"
    bench.answer_correction(coupon, approved=False)
    with pytest.raises(Conflict, match="answered this request"):
        bench.answer_correction(coupon)


def test_a_request_sent_twice_is_one_request(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    low = _low(bench, coupon)
    for _ in range(2):
        asked = bench.correct(
            coupon,
            low,
            "85.5",
            by=bench.shop.inspector,
            evidence=EVIDENCE,
            submission="one form",
        )
        assert asked.waits
    assert len(bench.asked(coupon)) == 1
    with pytest.raises(Conflict, match="recorded before with something else"):
        bench.correct(
            coupon, low, "85.6", by=bench.shop.inspector, evidence=EVIDENCE, submission="one form"
        )
    bench.answer_correction(coupon)
    again = bench.correct(
        coupon, low, "85.5", by=bench.shop.inspector, evidence=EVIDENCE, submission="one form"
    )
    assert not again.waits
    assert len(bench.readings(coupon)) == 4


def test_evidence_may_be_a_file_and_is_kept_with_the_correction(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    photograph = SentFile("display.png", b"\x89PNG\r\n\x1a\n the display reads 85.5")
    bench.correct(
        coupon,
        _low(bench, coupon),
        "85.5",
        by=bench.shop.inspector,
        evidence=EVIDENCE,
        file=photograph,
    )
    bench.answer_correction(coupon)
    digest = bench.readings(coupon)[-1].evidence_sha256
    assert digest == bench.asked(coupon)[0].evidence_sha256
    assert digest == hashlib.sha256(photograph.content).hexdigest()
    with bench.database.read() as session:
        assert session.get_one(ReportFile, digest).content == photograph.content
    with pytest.raises(Refusal, match="PDF"):
        bench.correct(
            coupon,
            bench.readings(coupon)[1],
            "85.1",
            by=bench.shop.inspector,
            file=SentFile("display.txt", b"it says 85.1"),
        )


def test_nor_while_another_quantity_is_still_to_be_measured(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    with pytest.raises(Refusal, match="second person"):
        bench.correct(coupon, bench.readings(coupon)[0], "85.2", by=bench.shop.inspector)


def test_nor_by_way_of_another_correction_of_their_own(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.correct(coupon, bench.readings(coupon)[0], "82.6", by=bench.shop.second)
    for person in (bench.shop.inspector, bench.shop.second):
        asked = bench.correct(
            coupon, bench.readings(coupon)[3], "85.2", by=person, evidence=EVIDENCE
        )
        assert asked.waits
        bench.answer_correction(coupon, approved=False)


def test_nor_readings_too_far_apart(bench: Bench) -> None:
    coupon = bench.coupon()
    assert bench.hard(coupon, "81.9", "85.0", "85.0").verdict == "not_proven"
    with pytest.raises(Refusal, match="second person"):
        bench.correct(coupon, bench.readings(coupon)[0], "85.2", by=bench.shop.inspector)


def test_a_correction_says_why_and_changes_something(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    reading = bench.readings(coupon)[0]
    with pytest.raises(Refusal, match="at least 10 characters") as refused:
        bench.correct(coupon, reading, "84.6", by=bench.shop.inspector, reason="oops")
    assert list(refused.value.fields) == ["reason"]
    with pytest.raises(Refusal, match=r"84\.5 HRB already"):
        bench.correct(coupon, reading, "84.5", by=bench.shop.inspector)
    with pytest.raises(Refusal, match=r"did you mean 84\.6"):
        bench.correct(coupon, reading, "8.46", by=bench.shop.inspector)
    with pytest.raises(NotAllowed, match="Only an inspector or supervisor"):
        bench.correct(coupon, reading, "84.6", by=bench.shop.auditor)
    with pytest.raises(NotFound, match="no such reading"):
        bench.correct(bench.coupon(), reading, "84.6", by=bench.shop.inspector)


def test_a_reading_is_corrected_once_and_a_form_sent_twice_counts_once(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    reading = bench.readings(coupon)[0]
    for _ in range(2):
        bench.correct(coupon, reading, "84.6", by=bench.shop.inspector, submission="form")
    assert len(bench.readings(coupon)) == 4
    with pytest.raises(Conflict, match="corrected already"):
        bench.correct(coupon, reading, "84.7", by=bench.shop.inspector)


def test_a_void_needs_a_second_person_and_leaves_the_reading_to_be_seen(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    low = bench.readings(coupon)[0]
    request = service.ask_void(
        bench.database,
        coupon_code=coupon.code,
        reading_id=low.id,
        cause=VoidCause.SLIPPED,
        evidence="the print shows a drag mark",
        by=bench.shop.inspector,
        at=bench.tick(),
    )
    assert bench.now(coupon).verdict == "does_not_conform"
    with pytest.raises(NotAllowed, match="Only a supervisor"):
        bench.answer(coupon, request, by=bench.shop.second)
    bench.answer(coupon, request)
    assert "voided: indenter or probe slipped" in bench.texts(coupon)
    assert "Only 2 readings" in bench.texts(coupon)
    assert len(bench.readings(coupon)) == 3
    with pytest.raises(Conflict, match="answered this request"):
        bench.answer(coupon, request)
    with pytest.raises(Conflict, match="voided already"):
        bench.correct(coupon, low, "85.1", by=bench.shop.second)
    bench.read(bench.open(), coupon, "85.1")
    assert "does not count" in bench.texts(coupon)
    with bench.database.read() as session:
        assert queries.readers(session, [coupon.id]) == {
            bench.shop.inspector.id,
            bench.shop.supervisor.id,
        }


def test_a_declined_void_changes_nothing(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    before = len(bench.verdicts(coupon))
    bench.void(coupon, bench.readings(coupon)[0], approved=False)
    assert bench.now(coupon).verdict == "does_not_conform"
    assert len(bench.verdicts(coupon)) == before


def test_a_supervisor_does_not_answer_a_void_of_their_own_reading_or_request(
    bench: Bench,
) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0", by=bench.shop.supervisor)
    with pytest.raises(NotAllowed, match="second person"):
        bench.void(coupon, bench.readings(coupon)[0])


def test_a_void_is_asked_once_with_evidence(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)

    def ask(evidence: str, code: str = coupon.code) -> None:
        service.ask_void(
            bench.database,
            coupon_code=code,
            reading_id=bench.readings(coupon)[0].id,
            cause=VoidCause.SURFACE,
            evidence=evidence,
            by=bench.shop.inspector,
            at=bench.tick(),
        )

    with pytest.raises(Refusal, match="at least 10 characters") as refused:
        ask("low")
    assert list(refused.value.fields) == ["evidence"]
    ask("paint was left on the flat")
    with pytest.raises(Conflict, match="waits for a supervisor"):
        ask("paint was left on the flat")


@pytest.fixture
def vickers(database: Database) -> tuple[Bench, Coupon]:
    return vickers_bench(database)


def _sizes(first: str, second: str) -> dict[str, tuple[Decimal, Decimal]]:
    return {"sizes": (Decimal(first), Decimal(second))}


def test_a_reading_from_an_indentation_is_corrected_by_its_sizes(
    vickers: tuple[Bench, Coupon],
) -> None:
    bench, coupon = vickers
    assert bench.now(coupon).verdict == "does_not_conform"
    low = bench.readings(coupon)[1]
    by = {"by": bench.shop.second, "evidence": EVIDENCE}
    with pytest.raises(Refusal, match="give both of its sizes") as refused:
        bench.correct(coupon, low, "167.2", **by)
    assert list(refused.value.fields) == ["size_1_1"]
    with pytest.raises(Refusal, match="differ by"):
        bench.correct(coupon, low, None, **by, **_sizes("0.333", "0.363"))
    with pytest.raises(Refusal, match="already"):
        bench.correct(coupon, low, None, **by, **_sizes("0.343", "0.349"))
    assert bench.correct(coupon, low, None, **by, **_sizes("0.333", "0.339")).verdict == "conforms"
    new = bench.readings(coupon)[-1]
    # HV = 0.1891 * 98.07 / 0.336^2 = 164.3 (ISO 6507-1, from memory)
    assert str(new.value) == "164.3"
    assert new.indentation == {**low.indentation, "diagonals_mm": ["0.333", "0.339"]}
    assert "164.26" in str(bench.verdicts(coupon)[0].paper["findings"])


def test_a_request_keeps_the_sizes_until_it_is_approved(vickers: tuple[Bench, Coupon]) -> None:
    bench, coupon = vickers
    low = bench.readings(coupon)[1]
    asked = bench.correct(
        coupon,
        low,
        None,
        by=bench.shop.inspector,
        evidence=EVIDENCE,
        **_sizes("0.333", "0.339"),
    )
    assert asked.waits
    bench.answer_correction(coupon)
    assert bench.now(coupon).verdict == "conforms"
    assert bench.readings(coupon)[-1].indentation["diagonals_mm"] == ["0.333", "0.339"]
