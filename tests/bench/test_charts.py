"""Control charts of a tester's checks, on both databases."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from sqlalchemy import event

from app.bench.queries.charts import BlockChart, adjusted_on, block_charts
from app.bench.records import BenchSession, BlockCheck, CheckMoment
from app.bench.rules.chart_drawing import HIGH, MOST_DRAWN, WIDE, picture
from app.equipment.records import ReferenceBlock
from app.judging.witness.control_chart import Point, control_chart
from tests.bench.bench_makers import ZONE, Bench
from tests.makers import NOW, bind
from tests.visits import Visit, words

STEADY = ("85.1", "84.9", "85.2", "85.0", "84.8", "85.1", "85.0", "84.9", "85.1", "84.9")


def _checks(
    bench: Bench,
    *values: str,
    block: str = "RB-HT-1",
    outcome: str = "conforms",
    begin: datetime = NOW,
) -> None:
    """A session with checks a day apart, as plain rows: the charts only read them."""
    with bench.database.write() as session:
        block_id = session.query(ReferenceBlock.id).filter_by(code=block).scalar()
        opened = BenchSession(
            tester_id=bench.shop.hardness_tester_id,
            operator_id=bench.shop.inspector.id,
            opened_at=begin,
        )
        bind(session, opened)
        rows = [
            BlockCheck(
                session_id=opened.id,
                moment=CheckMoment.OPENING,
                block_id=block_id,
                readings=(Decimal(value), Decimal(value)),
                outcome=outcome,
                finding={"text": "", "working": []},
                by_id=bench.shop.inspector.id,
                taken_at=begin + timedelta(days=number),
            )
            for number, value in enumerate(values)
        ]
        bind(session, *rows)


def _charts(bench: Bench) -> list[BlockChart]:
    with bench.database.read() as session:
        since = adjusted_on(session, bench.shop.hardness_tester_id)
        return block_charts(session, bench.shop.hardness_tester_id, since=since, zone=ZONE)


def test_a_check_counts_by_the_exact_mean_of_its_readings(bench: Bench) -> None:
    number = bench.open("HT-1")
    bench.check(number, "HT-1", "interim", "85.1", "85.0", "85.0")
    bench.check(number, "HT-1", "closing")
    [chart] = _charts(bench)
    assert (chart.block, chart.certified, chart.permitted) == (
        "RB-HT-1",
        Decimal("85.0"),
        Decimal("1.0"),
    )
    assert [one.error for one in chart.checks] == [Fraction(0), Fraction(1, 30), Fraction(0)]
    assert [one.moment for one in chart.checks] == ["opening", "interim", "closing"]
    assert chart.chart.limits is None


def test_every_block_has_a_chart_of_its_own_and_another_tester_has_none_of_it(
    bench: Bench,
) -> None:
    with bench.database.write() as session:
        bench.shop.block(session, "RB-2", "hardness", "HRB", "60.0", "1.0")
    _checks(bench, "85.1")
    _checks(bench, "60.2", block="RB-2")
    charts = _charts(bench)
    assert [(one.block, one.checks[0].error) for one in charts] == [
        ("RB-2", Fraction(1, 5)),
        ("RB-HT-1", Fraction(1, 10)),
    ]
    with bench.database.read() as session:
        assert block_charts(session, bench.shop.meter_id, since=None, zone=ZONE) == []


def test_a_failed_check_is_on_the_chart_and_sets_no_limit(bench: Bench) -> None:
    _checks(bench, *STEADY)
    before = _charts(bench)[0].chart.limits
    _checks(bench, "87.0", outcome="does_not_conform")
    [chart] = _charts(bench)
    assert [one.conforms for one in chart.checks] == [True] * 10 + [False]
    assert chart.chart.limits == before
    assert chart.chart.beyond == (10,)


def test_the_chart_begins_where_the_tester_was_last_adjusted(bench: Bench) -> None:
    _checks(bench, *STEADY)
    left = {"as_left": [["85.0", "85.0"]], "due_on": date(2027, 3, 5)}
    tester = bench.shop.hardness_tester_id
    with bench.database.write() as session:
        bench.shop.tester_certificate(
            session, tester, "C-2", done_on=date(2026, 3, 5), review=None, **left
        )
    assert _charts(bench)[0].earlier == 0, "nobody has accepted it yet"
    with bench.database.write() as session:
        bench.shop.tester_certificate(session, tester, "C-3", done_on=date(2026, 3, 5), **left)
    [chart] = _charts(bench)
    # Checks of 2, 3 and 4 March are from before.
    assert (chart.earlier, len(chart.checks)) == (3, 7)
    assert chart.checks[0].place == 0


def test_the_page_shows_the_chart_with_words_and_a_table(bench: Bench, visit: Visit) -> None:
    _checks(bench, *STEADY, *STEADY, *STEADY, *["85.5"] * 8)
    visit.sign_in("olek")
    page = visit.get("/testers/HT-1/chart").text
    said = words(page)
    assert "The mean error has moved up by about 0.500 HRB from the check of 2026-04-01" in said
    assert "8 checks in a row lie above the centre" in said
    assert "Limits need 10 conforming checks" in said
    assert page.count('<circle class="chart__dot"') == 38
    assert page.count('class="chart__shift"') == 1
    assert page.count("<tr>") == 39
    assert said.count("shifted") >= 8


def test_the_page_says_what_is_missing(bench: Bench, visit: Visit) -> None:
    visit.sign_in("mara")
    assert "has not been checked on a block yet" in visit.get("/testers/HT-1/chart").text
    _checks(bench, *STEADY[:4])
    assert "No limits yet: 4 of at least 10" in visit.get("/testers/HT-1/chart").text
    assert visit.get("/testers/HT-9/chart").status_code == 404


def test_only_the_newest_checks_are_drawn_and_all_are_counted(bench: Bench, visit: Visit) -> None:
    _checks(bench, *STEADY * 8)
    visit.sign_in("mara")
    page = visit.get("/testers/HT-1/chart").text
    assert page.count('<circle class="chart__dot"') == MOST_DRAWN
    assert "80 checks, the newest 60 shown" in words(page)


def test_the_page_asks_no_more_of_the_records_for_more_checks(bench: Bench) -> None:
    def asked() -> int:
        heard: list[str] = []
        with bench.database.read() as session:
            engine = session.get_bind()

            def hear(*told: object) -> None:
                heard.append(str(told[2]))

            event.listen(engine, "before_cursor_execute", hear)
            block_charts(session, bench.shop.hardness_tester_id, since=None, zone=ZONE)
            event.remove(engine, "before_cursor_execute", hear)
        return len(heard)

    _checks(bench, "85.0")
    one = asked()
    _checks(bench, *STEADY)
    assert asked() == one


def test_the_picture_keeps_to_its_paper_and_to_the_order_of_the_errors() -> None:
    errors = [Fraction(one) - 85 for one in STEADY * 4] + [Fraction(3)]
    drawn = picture(control_chart([Point(one) for one in errors]))
    assert len(drawn.dots) == 41
    assert all(0 < dot.x < WIDE and 0 < dot.y < HIGH for dot in drawn.dots)
    by_height = sorted(drawn.dots, key=lambda dot: -dot.y)
    assert [errors[dot.place] for dot in by_height] == sorted(errors)
    assert [dot.place for dot in drawn.dots if dot.is_beyond] == [40]
    assert drawn.limits is not None
    assert drawn.centre is not None
    assert drawn.limits[0] < drawn.centre < drawn.limits[1]
    assert drawn.baseline_ends is not None
    # Between the thirtieth check, the last that the limits rest on, and the next.
    assert drawn.dots[29].x < drawn.baseline_ends < drawn.dots[30].x


def test_a_single_check_and_equal_checks_can_be_drawn() -> None:
    for count in (1, 12):
        drawn = picture(control_chart([Point(Fraction(1, 10))] * count))
        assert len(drawn.dots) == count
        assert all(0 < dot.y < HIGH for dot in drawn.dots)
        assert drawn.limits is None
