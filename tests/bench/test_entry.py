"""What an entry may bring: late times, sizes, drafts, bounds of table and tester."""

from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy import select

from app.audit.records import TrailEntry
from app.bench import queries, service
from app.bench.records import EntryDraft
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from tests.bench.bench_makers import ZONE, Bench
from tests.bench.table_papers import begin_at, vickers, with_nested_hardness, with_table

SIZES = (Decimal("0.394"), Decimal("0.396"))
WHY = "the network was down"


def test_a_late_entry_has_both_times_and_its_reason(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    measured_at = bench.tick()
    bench.at += timedelta(minutes=40)
    bench.read(
        number, coupon, "85.0", "85.1", "85.2", measured_at=measured_at, late_reason=f" {WHY} "
    )
    for reading in bench.readings(coupon):
        assert reading.taken_at == measured_at
        assert reading.entered_at == bench.at
        assert reading.late_reason == WHY
    with bench.database.read() as session:
        notes = session.scalars(select(TrailEntry.note)).all()
    assert any(f"LATE, measured 2026-03-02 09:03 WET: {WHY}" in str(note) for note in notes)


def test_an_entry_that_is_not_late_says_nothing_of_it(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    bench.read(number, coupon, "85.0", "85.1", "85.2")
    assert {one.late_reason for one in bench.readings(coupon)} == {None}
    assert {one.taken_at for one in bench.readings(coupon)} == {bench.at}


@pytest.mark.parametrize(
    ("minutes", "reason", "field", "says"),
    [
        (-60, WHY, "measured_at", "lies before the opening check of 2026-03-02 09:02:00"),
        (60, WHY, "measured_at", "is still to come"),
        (1, "late", "late_reason", "at least 10 characters"),
    ],
)
def test_a_late_entry_that_nothing_proves_is_refused(
    bench: Bench, minutes: int, reason: str, field: str, says: str
) -> None:
    coupon, number = bench.coupon(), bench.open()
    measured_at = bench.at + timedelta(minutes=minutes)
    bench.tick()
    with pytest.raises(Refusal, match=says) as refused:
        bench.read(
            number, coupon, "85.0", "85.0", "85.0", measured_at=measured_at, late_reason=reason
        )
    assert list(refused.value.fields) == [field]
    with pytest.raises(Refusal, match="Say when it was measured"):
        bench.read(number, coupon, "85.0", "85.0", "85.0", late_reason=WHY)
    assert bench.readings(coupon) == []


def test_the_moment_of_the_opening_check_itself_is_not_after_it(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    at_the_check = bench.at
    with pytest.raises(Refusal, match="lies before the opening check"):
        bench.read(number, coupon, "85.0", measured_at=at_the_check, late_reason=WHY)


def test_a_form_shown_before_other_readings_came_records_nothing(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    bench.read(number, coupon, "85.0", "85.1", confirmed=True, seen=0)
    with pytest.raises(Conflict, match="2 readings of C-0001-1 were recorded elsewhere"):
        bench.read(number, coupon, "85.2", "85.3", "85.4", seen=0)
    bench.read(number, coupon, "85.2", seen=2)
    assert [str(one.value) for one in bench.readings(coupon)] == ["85.0", "85.1", "85.2"]


def test_sizes_are_kept_as_measured_with_the_number_they_give(bench: Bench) -> None:
    coupon, number = bench.coupon(), vickers(bench)
    bench.read(number, coupon, sizes=(SIZES, SIZES, SIZES), confirmed=True)
    readings = bench.readings(coupon)
    # HV = 0.1891 F / d^2 (ISO 6507-1): 0.1891 * 98.07 / 0.395^2 = 118.858...
    assert [str(one.value) for one in readings] == ["118.9"] * 3
    assert readings[0].indentation == {
        "method": "vickers",
        "force_n": "98.07",
        "diagonals_mm": ["0.394", "0.396"],
    }


def test_a_brinell_number_comes_from_its_ball_too(bench: Bench) -> None:
    coupon = bench.coupon()
    number = begin_at(
        bench, "HB-1", "HBW 10/500", "120.0", "120.1", "119.8",
        force_n=Decimal("4903.3"), ball_mm=Decimal("10"),
    )  # fmt: skip
    sizes = (Decimal("2.30"), Decimal("2.32"))
    bench.read(number, coupon, sizes=(sizes,), confirmed=True)
    (reading,) = bench.readings(coupon)
    # HBW = 0.102 * 2F / (pi D (D - sqrt(D^2 - d^2))) with d 2.31 mm: 117.7 (by hand).
    assert str(reading.value) == "117.7"
    assert reading.indentation["ball_mm"] == "10"


@pytest.mark.parametrize(
    ("sizes", "says"),
    [
        (("0.380", "0.400"), None),
        (("0.379", "0.400"), r"0\.379 and 0\.400 mm differ by 5\.25 % .* more than the 5 %"),
        (("0", "0.400"), "must be above zero"),
    ],
)
def test_an_uneven_indentation_is_refused_with_its_figures(
    bench: Bench, sizes: tuple[str, str], says: str | None
) -> None:
    coupon, number = bench.coupon(), vickers(bench)
    pair = (Decimal(sizes[0]), Decimal(sizes[1]))
    if says is None:
        bench.read(number, coupon, sizes=(pair,), confirmed=True)
        return
    with pytest.raises(Refusal, match=says) as refused:
        bench.read(number, coupon, sizes=(SIZES, pair), confirmed=True)
    assert list(refused.value.fields) == ["size_2_1"]
    assert bench.readings(coupon) == []


def test_a_tester_without_its_force_takes_no_sizes(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    with pytest.raises(Refusal, match="HT-1 shows its number itself"):
        bench.read(number, coupon, sizes=(SIZES,))


def test_a_figure_outside_what_the_tester_measures_is_refused(bench: Bench) -> None:
    coupon = bench.coupon()
    number = begin_at(
        bench, "HT-3", "HRB", "85.0", "85.0", "85.1",
        measures_from=Decimal("20"), measures_to=Decimal("90.0"),
    )  # fmt: skip
    with pytest.raises(Refusal, match=r"90\.1 HRB lies outside what HT-3 measures, from 20 to 90"):
        bench.read(number, coupon, "90.0", "90.1", "89.9", confirmed=True)
    bench.read(number, coupon, "90.0", "89.9", "89.9")


def test_the_tables_own_bounds_are_asked_before_the_derived_ones(bench: Bench) -> None:
    with_table(
        bench, possible={"from": "60.0", "to": "100.0"}, usual={"from": "82.0", "to": "92.0"}
    )
    coupon, number = bench.coupon(), bench.open()
    for value, says in (("59.9", "cannot be"), ("100.1", "cannot be"), ("81.9", "is unusual")):
        with pytest.raises(Refusal, match=f"{value} HRB {says}"):
            bench.read(number, coupon, "85.0", value, "85.0")
    bench.read(number, coupon, "82.0", "83.0", "84.0")


def test_an_instrument_that_the_table_does_not_permit_is_told_before_it_counts_for_nothing(
    bench: Bench,
) -> None:
    with_table(bench, instruments=["portable"])
    coupon, number = bench.coupon(), bench.open()
    with bench.database.read() as session:
        at_work = queries.bench_session(session, number)
        file = queries.coupon_files(session, [coupon.id])[coupon.id]
        ground = queries.ground_for(session, at_work, file)
    assert ground.why_not is not None
    assert "AT-7 permits portable instruments for hardness, and HT-1 is fixed" in ground.why_not
    with pytest.raises(Refusal, match="these readings would not count"):
        bench.read(number, coupon, "85.0", "85.0", "85.0")


def _keep(bench: Bench, number: int, code: str, **fields: str) -> None:
    service.keep_draft(
        bench.database,
        session_id=number,
        coupon_code=code,
        fields=fields,
        by=bench.shop.inspector,
        at=bench.tick(),
    )


def _kept(bench: Bench) -> list[dict[str, str]]:
    with bench.database.read() as session:
        return [dict(one) for one in session.scalars(select(EntryDraft.fields))]


def test_a_draft_is_replaced_emptied_and_dropped_with_the_record(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    _keep(bench, number, coupon.code, reading_1="85.0")
    _keep(bench, number, coupon.code, reading_1="85.0", reading_2="85.1")
    assert _kept(bench) == [{"reading_1": "85.0", "reading_2": "85.1"}]
    _keep(bench, number, coupon.code)
    assert _kept(bench) == []
    _keep(bench, number, coupon.code, reading_1="85.0", submission="the form")
    bench.read(number, coupon, "85.0", "85.1", "85.2", submission="the form")
    assert _kept(bench) == []
    _keep(bench, number, coupon.code, reading_1="85.0", submission="the form")
    assert _kept(bench) == [], "a draft that comes after its record is none"


def test_a_refused_entry_leaves_its_draft(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    _keep(bench, number, coupon.code, reading_1="8.5")
    with pytest.raises(Refusal):
        bench.read(number, coupon, "8.5", "85.1", "85.2")
    assert _kept(bench) == [{"reading_1": "8.5"}]


def test_only_the_operator_keeps_a_draft_and_only_what_a_form_holds(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    with pytest.raises(NotAllowed):
        service.keep_draft(
            bench.database,
            session_id=number,
            coupon_code=coupon.code,
            fields={"reading_1": "85.0"},
            by=bench.shop.second,
            at=bench.tick(),
        )
    with pytest.raises(NotFound):
        _keep(bench, number, "C-NONE", reading_1="85.0")
    with pytest.raises(NotFound):
        _keep(bench, 99, coupon.code, reading_1="85.0")
    with pytest.raises(Refusal, match="more than the form holds"):
        _keep(bench, number, coupon.code, reading_1="8" * 2000)
    with pytest.raises(Refusal, match="more than the form holds"):
        _keep(bench, number, coupon.code, **{f"reading_{n}": "8" for n in range(100)})
    assert _kept(bench) == []


def test_a_coupon_is_led_on_to_the_persons_own_session_that_it_lacks(bench: Bench) -> None:
    coupon, number = bench.coupon(), bench.open()
    bench.read(number, coupon, "85.0", "85.0", "85.0")

    def lacking(at: int) -> str | None:
        with bench.database.read() as session:
            at_work = queries.bench_session(session, at)
            found = queries.session_lacking(session, coupon.code, at_work, zone=ZONE)
        return None if found is None else found.tester

    assert lacking(number) is None
    other = bench.open("CM-1", by=bench.shop.second)
    assert lacking(number) is None, "somebody else's session is no place to go on"
    bench.check(other, "CM-1", "closing", by=bench.shop.second)
    own = bench.open("CM-1")
    assert lacking(number) == "CM-1"
    bench.read(own, coupon, "39.0", "39.0", "39.0")
    assert lacking(number) is None


@pytest.mark.parametrize(
    ("conductivity", "verdict"), [("39.0", "conforms"), ("37.5", "not_proven")]
)
def test_further_tests_of_a_zone_do_not_keep_a_blind_coupon_hidden(
    bench: Bench, conductivity: str, verdict: str
) -> None:
    """Only in 37.0 to 37.9 are five hardness readings asked for, and the verdict tells so."""
    with_nested_hardness(bench)
    coupon, number = bench.coupon(), bench.open()

    def is_hidden() -> bool:
        with bench.database.read() as session:
            return coupon.id in queries.hidden_for_now(session, [coupon.id], zone=ZONE)

    bench.read(number, coupon, "85.0", "85.1", confirmed=True)
    bench.conductive(coupon, conductivity, conductivity, conductivity)
    assert is_hidden()
    bench.read(number, coupon, "85.2", confirmed=True)
    assert not is_hidden()
    assert bench.now(coupon).verdict == verdict
    assert ("counting, 5 needed" in bench.texts(coupon)) is (verdict == "not_proven")


def test_the_room_of_keyed_sizes_is_that_of_the_indentation_itself(bench: Bench) -> None:
    """A ball of 10 mm: 2.39 mm lies below 0.24 D (ISO 6506-1), 2.40 mm does not."""
    coupon = bench.coupon()
    number = begin_at(
        bench, "HB-1", "HBW 10/500", "100.0", "100.1", "99.8",
        force_n=Decimal("4903.3"), ball_mm=Decimal(10),
    )  # fmt: skip
    small, enough = (Decimal("2.39"), Decimal("2.39")), (Decimal("2.40"), Decimal("2.40"))
    with pytest.raises(Refusal) as refused:
        bench.read(number, coupon, sizes=(enough, small))
    assert "outside 0.24 to 0.6" in refused.value.fields["size_2_1"]
    assert "outside 0.24 to 0.6" not in refused.value.fields["size_1_1"]
    with bench.database.read() as session:
        tester = queries.tester_at(session, queries.bench_session(session, number).tester_id)
    # h = (10 - sqrt(100 - 5.76)) / 2 = 0.14612 mm, and 8 h is 1.16899 mm; 3 d and 2.5 d (by hand).
    room = service.room_for(tester, Decimal("106.8"), enough)
    assert room is not None
    lengths = (room.centres_mm, room.edge_mm, room.thickness_mm)
    assert lengths == (Decimal("7.20"), Decimal("6.00"), Decimal("1.17"))
