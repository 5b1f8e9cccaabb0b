"""In which order a coupon changes hands, and codes as they are typed."""

from itertools import pairwise

import pytest

from app.errors import Refusal
from app.judging.witness.acceptance import Surface
from app.panels.rules import (
    ORDER,
    WHAT_NEXT,
    Custody,
    codes_from_lines,
    next_steps,
    one_line,
    why_not,
    wrong_surface,
)


def test_each_step_follows_the_one_before_it() -> None:
    assert next_steps(None) == (Custody.CUT,)
    assert next_steps(Custody.CUT) == (Custody.PLACED, Custody.MISSING)
    for before, after in pairwise(ORDER[1:]):
        assert next_steps(before) == (after,)
    assert next_steps(Custody.SHELVED) == (Custody.AT_BENCH,)
    assert next_steps(Custody.MISSING) == ()


@pytest.mark.parametrize("last", [None, *Custody])
@pytest.mark.parametrize("step", list(Custody))
def test_a_step_is_refused_exactly_when_it_is_not_the_next(
    last: Custody | None, step: Custody
) -> None:
    assert (why_not(last, step) is None) is (step in next_steps(last))


@pytest.mark.parametrize(
    ("last", "step", "says"),
    [
        (None, Custody.PLACED, "nothing about it is recorded yet, and first it has to be cut"),
        (None, Custody.MISSING, "first it has to be cut and marked"),
        (
            Custody.CUT,
            Custody.AT_BENCH,
            "to the bench: it is cut and marked, and first it has to be placed on the panel.",
        ),
        (Custody.RECOVERED, Custody.PLACED, "It is recovered already; next it is handed over"),
        (Custody.SHELVED, Custody.MISSING, "it is shelved, and first it has to be handed over"),
        (Custody.MISSING, Custody.RECOVERED, "a supervisor decides about it on its load's page"),
        (Custody.PLACED, Custody.MISSING, "report it as missing on its load's page"),
        (Custody.AT_BENCH, Custody.MISSING, "so that the panel is put on hold"),
    ],
)
def test_what_comes_first_is_said(last: Custody | None, step: Custody, says: str) -> None:
    assert says in str(why_not(last, step))


def test_what_comes_next_is_said_after_every_step() -> None:
    assert set(WHAT_NEXT) == set(Custody)


def test_codes_are_read_one_a_line_in_their_order() -> None:
    assert codes_from_lines(" c-2\r\n\nC-1 \n") == ["C-2", "C-1"]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "No identity was given"),
        ("C-1\nC-2\nc-1", "Line 3: C-1 stands on line 1 already"),
        ("\n".join(f"C-{n}" for n in range(201)), "201 identities are too many at once"),
    ],
)
def test_codes_that_cannot_be_taken_are_refused(typed: str, says: str) -> None:
    with pytest.raises(Refusal, match=says) as refused:
        codes_from_lines(typed)
    assert list(refused.value.fields) == ["codes"]


def test_two_hundred_codes_at_once_are_taken() -> None:
    assert len(codes_from_lines("\n".join(f"C-{n}" for n in range(200)))) == 200


def test_words_are_kept_with_one_space_between_them() -> None:
    assert one_line("  marking   bench\t3 ") == "marking bench 3"


def test_a_surface_is_one_of_those_a_table_knows() -> None:
    known = [surface.value for surface in Surface]
    assert [wrong_surface(surface, known) for surface in known] == [None] * 3
    assert "no surface; choose bare, clad, clad removed" in str(wrong_surface("shiny", known))
