"""Under a mapping that is wrong for the file, a form is refused with its place, never misread."""

import copy
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from tests.documents.torture.forms import Form, form_of
from tests.documents.torture.outcomes import outcome
from tests.documents.torture.test_forms_read_as_written import assert_as_true
from tests.documents.torture.truth import Truth
from tests.documents.torture.written import truth_for, written

Paper = dict[str, Any]
Wrong = Callable[[Paper, Form, Truth], Paper | None]
FORMS = 220


def _changed(paper: Paper, **keys: Any) -> Paper:
    return copy.deepcopy(paper) | keys


def _time(paper: Paper, **keys: Any) -> Paper:
    return _changed(paper, time=paper["time"] | keys)


def another_delimiter(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.kind == "xlsx":
        return None
    others = {"comma": "semicolon", "semicolon": "tab", "tab": "pipe", "pipe": "comma"}
    other = others[form.delimiter]
    return None if paper["thousands_mark"] == other else _changed(paper, delimiter=other)


def another_encoding(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.kind == "xlsx":
        return None
    if form.encoding == "utf-16":
        return _changed(paper, encoding="utf-8")
    return _changed(paper, encoding="utf-16")


def utf8_for_latin1(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    said = form.header != "none" and (form.seed % 5 == 0 or form.unit_row)
    return _changed(paper, encoding="utf-8") if form.encoding == "latin-1" and said else None


def latin1_for_utf8(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    said = form.header != "none" and (form.seed % 5 == 0 or form.unit_row)
    text = form.kind == "csv" and form.encoding == "utf-8"
    return _changed(paper, encoding="latin-1") if text and (said or form.mark) else None


def the_other_decimal_mark(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.kind == "xlsx" and not form.number_texts:
        return None
    texts = [text for channel in truth.channels.values() for text in channel if text]
    if not any("." in text for text in texts) or form.thousands != "none":
        return None
    other = {"comma": "point", "point": "comma"}[form.decimal]
    return _changed(paper, decimal_mark=other)


def no_thousands_mark(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    texts = [text for channel in truth.channels.values() for text in channel if text]
    large = any(len(text.partition(".")[0]) > 3 for text in texts)
    return _changed(paper, thousands_mark="none") if form.thousands != "none" and large else None


def another_order(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    """Day for month where a day is above twelve, or the year at the other end."""
    if form.time_kind != "pattern" or form.month_names:
        return None
    if form.order == "year-month-day":
        return None if form.short_year else _time(paper, order="day-month-year")
    if form.start != "days above twelve":
        return None if form.short_year else _time(paper, order="year-month-day")
    others = {"day-month-year": "month-day-year", "month-day-year": "day-month-year"}
    return _time(paper, order=others[form.order])


def no_order(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.time_kind != "pattern" or form.month_names or form.start != "days that could be months":
        return None
    if form.order == "year-month-day" and not (form.short_year and form.padded):
        return None
    return _time(paper, order=None)


def no_century(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _time(paper, century=None) if form.short_year else None


def another_date_mark(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.time_kind != "pattern":
        return None
    return _time(paper, date_mark={"/": ".", ".": "-", "-": " ", " ": "/"}[form.date_mark])


def the_other_clock(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.time_kind != "pattern":
        return None
    return _time(paper, clock={"12 h": "24 h", "24 h": "12 h"}[form.clock])


def pattern_for_iso(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.time_kind != "iso":
        return None
    return _time(paper, kind="pattern", order="day-month-year", date_mark="-")


def iso_for_pattern(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.time_kind != "pattern" or (form.order == "year-month-day" and form.date_mark == "-"):
        return None
    keys = ("columns", "zone", "repeated_hour")
    kept = {key: value for key, value in paper["time"].items() if key in keys}
    return _changed(paper, time=kept | {"kind": "iso"})


def date_cells_for_text(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if (
        form.kind != "xlsx"
        or form.time_kind not in {"iso", "pattern"}
        or form.zone == "in the file"
    ):
        return None
    keys = ("columns", "zone", "repeated_hour")
    kept = {key: value for key, value in paper["time"].items() if key in keys}
    return _changed(paper, time=kept | {"kind": "date cell"})


def text_for_date_cells(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _time(paper, kind="iso") if form.time_kind == "date cell" else None


def elapsed_for_a_clock(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.time_kind == "elapsed":
        return None
    part = {"columns": paper["time"]["columns"][:1], "kind": "elapsed", "elapsed_unit": "seconds"}
    return _changed(paper, time=part, ignored="everything else")


def a_stated_zone_for_one_in_the_file(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _time(paper, zone="Europe/Berlin") if form.zone == "in the file" else None


def zone_in_the_file_where_there_is_none(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.time_kind not in {"iso", "pattern"} or form.zone == "in the file":
        return None
    return _time(paper, zone="in the file", repeated_hour="refuse")


def repeated_hour_not_settled(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _time(paper, repeated_hour="refuse") if form.start == "back" else None


def the_other_hemisphere(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    """A zone whose clocks do not change then: the repeated hour is then out of order."""
    if form.start != "back":
        return None
    return _time(paper, zone="Asia/Kolkata")


def a_missing_channel(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    column = 40 if form.header == "none" else "Zone that is not there"
    more = {"channel": "TC9", "column": column, "unit": None}
    return _changed(paper, channels=[*paper["channels"], more])


def a_column_not_spoken_of(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, ignored=[]) if form.remark else None


def the_remark_as_a_channel(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if not form.remark or form.header == "none" or form.files != "one":
        return None
    more = {"channel": "TC9", "column": "Remark", "unit": None}
    return _changed(paper, channels=[*paper["channels"], more], ignored=[])


def the_other_temperature_unit(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if not form.unit_row:
        return None
    return _changed(paper, temperature_unit={"C": "F", "F": "C"}[form.unit])


def another_vacuum_unit(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if not form.unit_row or form.vacuum is None:
        return None
    other = "psi" if form.vacuum != "psi" else "kPa"
    return _changed(paper, vacuum=paper["vacuum"] | {"unit": other})


def no_unit_row(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, unit_row=False) if form.unit_row else None


def a_unit_row_that_is_not_there(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.unit_row or form.header == "none":
        return None
    return _changed(paper, unit_row=True)


def the_header_a_row_too_early(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return (
        _changed(paper, header=form.block_lines)
        if form.header == "row" and form.block_lines
        else None
    )


def the_header_a_row_too_late(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, header=form.block_lines + 2) if form.header == "row" else None


def an_end_mark_that_is_not_there(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, footer={"marker": "Last line of all"}) if form.footer != "rows" else None


def no_footer(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, footer=None) if form.footer != "none" else None


def a_footer_too_long(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, footer={"rows": 3}) if form.footer == "rows" else None


def an_own_word_not_stated(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.own_missing_word not in {"LOST", "over range"}:
        return None
    used = any(text is None for channel in truth.channels.values() for text in channel[1::2])
    return _changed(paper, missing=[]) if used else None


def repeated_rows_not_settled(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, repeated_rows="refuse") if form.repeated else None


def a_line_end_asked_for(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.last_line_end or form.kind == "xlsx" or form.footer == "marker":
        return None
    return _changed(paper, last_row_without_line_end="refuse")


def one_file_for_several(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return (
        _changed(paper, files="one", sort=False, join="equal times")
        if form.files != "one"
        else None
    )


def side_by_side_for_one_after_the_other(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.files != "after" or form.header == "none":
        return None
    return _changed(paper, files="side by side", sort=False)


def equal_times_for_a_union(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, join="equal times") if form.files == "union of times" else None


def another_sheet(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, sheet="Lok") if form.kind == "xlsx" else None


def no_sheet_named(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, sheet=None) if form.several_sheets else None


def the_cover_sheet(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    return _changed(paper, sheet="Cover") if form.several_sheets else None


def a_mapping_for_the_other_kind_of_file(paper: Paper, form: Form, truth: Truth) -> Paper | None:
    if form.kind == "csv":
        drop = ("encoding", "delimiter", "last_row_without_line_end")
        kept = {key: value for key, value in paper.items() if key not in drop}
        return copy.deepcopy(kept) | {"kind": "xlsx"}
    if form.time_kind == "date cell":
        return None
    return _changed(paper, kind="csv", sheet=None, encoding="utf-8", delimiter="comma")


WRONGS: tuple[Wrong, ...] = (
    another_delimiter,
    another_encoding,
    utf8_for_latin1,
    latin1_for_utf8,
    the_other_decimal_mark,
    no_thousands_mark,
    another_order,
    no_order,
    no_century,
    another_date_mark,
    the_other_clock,
    pattern_for_iso,
    iso_for_pattern,
    date_cells_for_text,
    text_for_date_cells,
    elapsed_for_a_clock,
    a_stated_zone_for_one_in_the_file,
    zone_in_the_file_where_there_is_none,
    repeated_hour_not_settled,
    the_other_hemisphere,
    a_missing_channel,
    a_column_not_spoken_of,
    the_remark_as_a_channel,
    the_other_temperature_unit,
    another_vacuum_unit,
    no_unit_row,
    a_unit_row_that_is_not_there,
    the_header_a_row_too_early,
    the_header_a_row_too_late,
    an_end_mark_that_is_not_there,
    no_footer,
    a_footer_too_long,
    an_own_word_not_stated,
    repeated_rows_not_settled,
    a_line_end_asked_for,
    one_file_for_several,
    side_by_side_for_one_after_the_other,
    equal_times_for_a_union,
    another_sheet,
    no_sheet_named,
    the_cover_sheet,
    a_mapping_for_the_other_kind_of_file,
)


@pytest.mark.parametrize("wrong", WRONGS, ids=lambda wrong: wrong.__name__)
def test_a_wrong_mapping_is_refused(wrong: Wrong) -> None:
    tried = 0
    for seed in range(FORMS):
        form = form_of(seed)
        truth = truth_for(form)
        files, paper = written(form, truth)
        changed = wrong(paper, form, truth)
        if changed is None:
            continue
        tried += 1
        assert isinstance(outcome(files, changed, begins="part "), str), form
    assert tried >= 4


def test_a_mapping_for_another_form_is_refused_or_harmless() -> None:
    """Every form under the mappings of others."""
    outcomes: Counter[str] = Counter()
    forms = [form_of(seed) for seed in range(0, FORMS, 4)]
    runs = [(form, truth_for(form)) for form in forms]
    everything = [(form, truth, *written(form, truth)) for form, truth in runs]
    for form, truth, files, _ in everything:
        for other, _, _, paper in everything:
            if form is other:
                continue
            reading = outcome(files, paper, begins="part ")
            if isinstance(reading, str):
                outcomes["refused"] += 1
            elif _cannot_tell(form, other):
                outcomes["the file says nothing of it"] += 1
            else:
                assert_as_true(reading, form, truth)
                outcomes["harmless"] += 1
    assert outcomes["refused"] > 0.98 * sum(outcomes.values()), outcomes
    assert sum(outcomes.values()) > 2500


def _cannot_tell(form: Form, other: Form) -> bool:
    """Whether what the other mapping states otherwise is nothing that the file says.

    Which zone its clock showed, a file without a zone does not say; nor which unit its figures have
    where no unit is written; nor what its columns are where it has no header.
    """
    return other.header == "none" or (
        form.zone != other.zone
        or form.unit != other.unit
        or form.mixed_units != other.mixed_units
        or form.vacuum != other.vacuum
        or form.sense != other.sense
        or form.channels != other.channels
        or form.elapsed_unit != other.elapsed_unit
        or {form.order, other.order} == {"day-month-year", "month-day-year"}
    )
