"""The frame and the macros, rendered as pages render them, and the style sheets they rest on."""

import re
from datetime import UTC, datetime
from html import unescape
from types import SimpleNamespace
from typing import Any

import pytest
from jinja2 import Environment, UndefinedError

from app.judging.verdict import Finding, Outcome
from app.settings import Settings
from app.web.page import STATIC, Visitor, templates

VISITOR = Visitor("iris", "Iris <Fenn>", frozenset({"inspector"}), "token-of-iris")
AT = datetime(2026, 3, 4, 6, 15, tzinfo=UTC)


@pytest.fixture(scope="module")
def environment() -> Environment:
    return templates(Settings(shop_name="Wold & Fenn", time_zone="Europe/Paris"))


def rendered(environment: Environment, source: str, **values: Any) -> str:
    given = {"visitor": VISITOR, "here": "/panels/P-1", "notice": None, "now": AT, **values}
    return environment.from_string(source).render(**given)


def words(html: str) -> str:
    """The text a reader is given, single-spaced."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def page(environment: Environment, **values: Any) -> str:
    source = """{% extends "base.html" %}{% block title %}Panel P-1{% endblock %}
    {% block print_identity %}Panel P-1{% endblock %}{% block print_hash %}ab12{% endblock %}
    {% block main %}<h1>P-1</h1>{% endblock %}"""
    return rendered(environment, source, **values)


def test_the_frame_has_one_way_past_the_head_and_one_search_box(environment: Environment) -> None:
    html = page(environment, asked='P-"1')
    assert 'href="#main"' in html
    assert html.count('action="/find"') == 1
    assert 'value="P-&#34;1"' in html
    assert "Scan or type any identity" in words(html)
    assert 'href="/panels" aria-current="true"' in html


def test_the_printed_foot_names_what_the_sheet_is_about_its_hash_and_the_shop_time(
    environment: Environment,
) -> None:
    foot = words(page(environment).split('class="print-foot"')[1])
    assert "Panel P-1 · Wold & Fenn · Temperbook ab12 " in foot
    assert "printed copy, as of 2026-03-04 07:15 CET" in foot


def test_a_page_that_names_nothing_else_prints_its_title_and_never_its_address(
    environment: Environment,
) -> None:
    source = """{% extends "base.html" %}{% block title %}Lots of {{ n }}{% endblock %}"""
    foot = rendered(environment, source, n="<2>", here="/lots/of").split('class="print-foot"')[1]
    assert "Lots of &lt;2&gt;</span> · Wold" in foot
    assert "/lots" not in foot


def test_signing_out_carries_the_token_and_a_stranger_sees_neither_it_nor_the_ways(
    environment: Environment,
) -> None:
    assert 'action="/sign-out"' in page(environment)
    assert VISITOR.csrf in page(environment)
    stranger = page(environment, visitor=None)
    assert 'action="/sign-out"' not in stranger
    assert "<nav" not in stranger


def test_only_a_demonstration_says_that_it_judges_nothing_real(environment: Environment) -> None:
    assert "judges nothing real" not in page(environment)
    assert "judges nothing real" in page(environment, demo=True)


@pytest.mark.parametrize("outcome", list(Outcome))
def test_a_verdict_is_a_word_first_then_a_shape(environment: Environment, outcome: Outcome) -> None:
    source = '{% from "macros/marks.html" import verdict %}{{ verdict(v) }}'
    html = rendered(environment, source, v=outcome)
    assert html.index(outcome.value.replace("_", " ") + "</span>") < html.index("<svg")
    assert f"verdict--{outcome.value.replace('_', '-')}" in html


def test_the_four_shapes_differ(environment: Environment) -> None:
    source = '{% from "macros/marks.html" import shape %}{{ shape(v) }}'
    assert len({rendered(environment, source, v=outcome) for outcome in Outcome}) == 4


def test_a_provisional_verdict_says_so_in_words(environment: Environment) -> None:
    source = '{% from "macros/marks.html" import verdict %}{{ verdict("conforms", true) }}'
    assert words(rendered(environment, source)) == "conforms provisional"


def test_a_finding_shows_sentence_figures_source_and_working(environment: Environment) -> None:
    finding = Finding(
        "hardness.min", Outcome.CONFORMS, "All <three> at least 79.", "82.0", "79", "HRB",
        "Table T-1, row 2", ("82.0 >= 79",),
    )  # fmt: skip
    source = '{% from "macros/findings.html" import findings %}{{ findings(list) }}'
    html = rendered(environment, source, list=[finding])
    assert words(html) == (
        "conforms All <three> at least 79. found 82.0 HRB ; limit 79 HRB "
        "; source: Table T-1, row 2 Working of hardness.min 82.0 >= 79"
    )
    assert "&lt;three&gt;" in html


def test_a_time_of_a_furnace_record_is_also_shown_in_hours(environment: Environment) -> None:
    finding = Finding("soak", Outcome.CONFORMS, "Soak.", 86770.25, 86400.0, "s")
    source = '{% from "macros/findings.html" import findings %}{{ findings([f]) }}'
    text = words(rendered(environment, source, f=finding))
    assert "found 86770.25 s (24 h 06 min 10 s); limit 86400 s (24 h 00 min 00 s)" in text


FORM = """{% from "macros/forms.html" import csrf with context %}
{% from "macros/forms.html" import field, choice, radios, tick, area, problem_summary %}
{{ csrf() }}{{ problem_summary(sentence, problems) }}
{{ field("size", "Size", typed, problems, hint="in mm", inputmode="decimal") }}
{{ field("code", "Code", typed, problems, kind="password") }}
{{ choice("furnace", "Furnace", [("1", "One"), ("2", "Two")], typed, problems) }}
{{ radios("how", "How", [("a", "A", "hint"), ("b", "B")], typed, problems) }}
{{ tick("seen", "Seen", typed, problems) }}{{ area("reason", "Reason", typed, problems) }}"""
TYPED = {
    "size": '6,3"x', "code": "secret", "furnace": "2", "how": "b", "seen": "yes",
    "reason": "</textarea>why",
}  # fmt: skip


def test_what_was_typed_stays_typed_but_a_password_is_never_shown_back(
    environment: Environment,
) -> None:
    html = rendered(environment, FORM, typed=TYPED, problems={}, sentence=None)
    assert 'value="6,3&#34;x"' in html
    assert "secret" not in html
    assert '<option value="2" selected>' in html
    assert re.search(r'value="b" checked', html)
    assert re.search(r'name="seen" value="yes" checked', html)
    assert "&lt;/textarea&gt;why</textarea>" in html
    assert 'role="alert"' not in html
    assert 'name="csrf" value="token-of-iris"' in html


def test_a_problem_is_tied_to_its_field_and_linked_from_the_top(environment: Environment) -> None:
    problems = {"size": "Size is not a number; write it like 6.35."}
    sentence = "Nothing was recorded yet: " + problems["size"]
    html = rendered(environment, FORM, typed=TYPED, problems=problems, sentence=sentence)
    assert 'id="f-size"' in html
    assert 'aria-invalid="true" aria-describedby="f-size-hint f-size-problem"' in html
    assert '<a href="#f-size">Size is not a number' in html
    assert html.count("Size is not a number") == 2, "once at the top, once at the field"


def test_a_refusal_that_says_more_than_its_fields_keeps_its_own_sentence(
    environment: Environment,
) -> None:
    html = rendered(
        environment, FORM, typed={}, problems={"form": "Scan it again."}, sentence="No such coupon."
    )
    assert "No such coupon." in html
    assert "Scan it again." in html
    assert "#f-form" not in html


def test_a_signature_states_its_meaning_and_prints_the_name(environment: Environment) -> None:
    source = """{% from "macros/sign.html" import signature with context %}
    {{ signature("I release this panel.", {"password": "secret"}, {}) }}"""
    html = rendered(environment, source)
    assert "I release this panel. Printed name Iris <Fenn>" in words(html)
    assert 'autocomplete="current-password"' in html
    assert "secret" not in html


def mark(kind: str, code: str, x: float, **more: Any) -> SimpleNamespace:
    given = {"label": "middle", "y": 0.5, "verdict": None, "href": None}
    return SimpleNamespace(kind=kind, code=code, x=x, **{**given, **more})


PLAN = '{% from "macros/plan.html" import plan %}{{ plan(panel) }}'


def test_the_table_beneath_a_plan_says_what_the_plan_shows(environment: Environment) -> None:
    marks = [
        mark("coupon", "C-1", 0.25, verdict="does_not_conform", href="/c/C-1"),
        mark("sensor", "TC1", 0.5),
    ]
    panel = SimpleNamespace(length_mm=4000, width_mm=1000, marks=marks)
    table = rendered(environment, PLAN, panel=panel).split("<tbody>")[1]
    coupon, sensor = "C-1 coupon middle 1000 500 does not conform", "TC1 sensor middle 2000 500"
    assert words(table) == f"{coupon} {sensor} \N{EN DASH}"


def test_labels_of_neighbouring_coupons_stand_on_different_lines(environment: Environment) -> None:
    marks = [mark("coupon", "C-1001", 0.50), mark("coupon", "C-1002", 0.53)]
    panel = SimpleNamespace(length_mm=4000, width_mm=1000, marks=marks)
    html = rendered(environment, PLAN, panel=panel)
    lines = re.findall(r'class="plan__label" y="(-?\d+)"', html)
    assert len(set(lines)) == 2


def test_tables_name_their_columns_and_rows(environment: Environment) -> None:
    source = """{% from "macros/facts.html" import table %}
    {{ table(["No", ("HRB", "figure")], rows, "Readings") }}"""
    html = rendered(environment, source, rows=[("1", "82.0"), ("2", None)])
    assert '<th scope="col" class="figure">HRB</th>' in html
    assert '<th scope="row">1</th>' in html
    assert '<td class="figure">\u2013</td>' in html
    assert "None yet." in rendered(environment, source, rows=[])


def test_trail_lines_are_in_the_shops_zone(environment: Environment) -> None:
    entry = SimpleNamespace(at=AT, person="Iris Fenn", act="Held P-1", note="burst bag")
    source = '{% from "macros/facts.html" import trail_lines %}{{ trail_lines([entry]) }}'
    assert words(rendered(environment, source, entry=entry)) == (
        "2026-03-04 07:15 CET Iris Fenn Held P-1 burst bag"
    )


def test_a_name_that_a_page_forgot_is_an_error(environment: Environment) -> None:
    with pytest.raises(UndefinedError):
        rendered(environment, "{{ forgotten }}")


def test_templates_keep_to_the_content_security_policy(environment: Environment) -> None:
    """No inline style, script or handler: the policy would silently drop them."""
    assert environment.loader is not None
    for name in environment.loader.list_templates():
        source = environment.loader.get_source(environment, name)[0]
        assert not re.search(r"\sstyle=|\son[a-z]+=|<style|javascript:", source), name
        assert not re.search(r"<script(?![^>]*\ssrc=)", source), name


def test_every_file_a_style_sheet_names_is_shipped() -> None:
    sheets = sorted((STATIC / "css").glob("*.css"))
    assert sheets
    for sheet in sheets:
        for address in re.findall(r'url\("([^"]+)"\)', sheet.read_text()):
            assert (sheet.parent / address).is_file(), f"{sheet.name}: {address}"


def inks(scheme: str) -> dict[str, str]:
    """The colours of one scheme; the dark one changes the light one's."""
    light, dark = (STATIC / "css/tokens.css").read_text().split("@media (prefers-color-scheme")
    dark = dark.split("@media print")[0]
    pattern = re.compile(r"--([\w-]+): (#[0-9a-f]{6});")
    found = dict(pattern.findall(light))
    return found | dict(pattern.findall(dark)) if scheme == "dark" else found


def contrast(first: str, second: str) -> float:
    """The contrast ratio of two colours. Source: WCAG 2.2, its definition."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (
            part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_wcag_contrast_of_black_on_white_is_21() -> None:
    """WCAG 2.2, definition of contrast ratio: ratios range from 1 to 21."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


TEXT_ON_GROUND = [
    *((text, ground) for text in ("ink", "ink-soft") for ground in ("paper", "sheet", "shade")),
    *(("accent", ground) for ground in ("paper", "sheet", "shade", "accent-tint")),
    ("ink", "accent-tint"), ("ink", "fails-tint"), ("on-accent", "accent-ground"),
    ("conforms", "conforms-tint"), ("conforms", "sheet"), ("fails", "sheet"),
    ("fails", "fails-tint"), ("on-fails", "fails"), ("unproven", "sheet"),
    ("unproven", "unproven-tint"), ("paper", "ink"),
]  # fmt: skip


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXT_ON_GROUND)
def test_text_stands_seven_to_one_on_its_ground(scheme: str, text: str, ground: str) -> None:
    """WCAG 2.2, 1.4.6 (enhanced contrast): 7:1 for text."""
    colours = inks(scheme)
    assert contrast(colours[text], colours[ground]) >= 7


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("line", ["rule", *(f"trace-{number}" for number in range(1, 9))])
def test_lines_that_must_be_seen_stand_three_to_one(scheme: str, line: str) -> None:
    """WCAG 2.2, 1.4.11 (non-text contrast): 3:1 for boxes and for the lines of a graph."""
    colours = inks(scheme)
    assert contrast(colours[line], colours["sheet"]) >= 3
