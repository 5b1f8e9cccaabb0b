"""Working that findings share is written once, and nothing of it is lost."""

import re

from hypothesis import given
from hypothesis import strategies as st

from app.web.working import Folded, fold_working

_LINES = st.lists(
    st.one_of(
        st.sampled_from(["mean: 36", "range: 1 - 0", "U = 0.4"]),
        st.builds(
            lambda number, says: f"reading {number}: {says}",
            st.integers(1, 12),
            st.sampled_from(["36.0 %IACS as entered", "a long line " * 8, "another long one " * 6]),
        ),
    ),
    max_size=12,
)


def _paper(*workings: list[str]) -> list[dict[str, list[str]]]:
    return [{"working": working} for working in workings]


def test_a_line_of_one_finding_stays_with_it() -> None:
    folded = fold_working(_paper(["a"], ["b"]))
    assert [one.own for one in folded.lines] == [("a",), ("b",)]
    assert folded.common == ()


def test_a_line_of_several_findings_becomes_a_common_one_and_is_referred_to() -> None:
    folded = fold_working(_paper(["a", "b", "c", "x"], ["a", "b", "c", "e"], ["e", "a"], []))
    assert folded.common == ("a", "b", "c", "e")
    assert [one.own for one in folded.lines] == [("x",), (), (), ()]
    assert [one.refers_to for one in folded.lines] == ["1 to 3", "1 to 4", "1 and 4", ""]


def test_a_long_line_that_is_the_same_for_several_readings_is_said_once_of_all() -> None:
    depth = "Standard depth at 60 kHz and 20.9 MS/m: 0.4494 mm; times 2.6 = 1.1686 mm: enough"
    folded = fold_working(
        _paper([f"reading {number}: {depth}" for number in (1, 2, 3, 5)] + ["reading 1: 36.0"])
    )
    assert folded.lines[0].own == (f"readings 1 to 3 and 5: {depth}", "reading 1: 36.0")


@given(st.lists(_LINES, max_size=6))
def test_every_line_of_every_finding_can_be_found_again(workings: list[list[str]]) -> None:
    folded = fold_working(_paper(*workings))
    for working, line in zip(workings, folded.lines, strict=True):
        common = [folded.common[number - 1] for number in _numbers(line.refers_to)]
        assert _said([*line.own, *common]) >= set(working)
    written = [*folded.common, *(own for line in folded.lines for own in line.own)]
    assert len(written) == len(set(written))


def _said(lines: list[str]) -> set[str]:
    """What the lines say, one reading a line."""
    said = set()
    for line in lines:
        found = re.fullmatch(r"readings ([^:]+): (.*)", line)
        if found is None:
            said.add(line)
        else:
            said |= {f"reading {number}: {found[2]}" for number in _numbers(found[1])}
    return said


def _numbers(words: str) -> list[int]:
    numbers: list[int] = []
    for part in filter(None, re.split(r", | and ", words)):
        first, _, last = part.partition(" to ")
        numbers += range(int(first), int(last or first) + 1)
    return numbers


def test_no_findings_fold_to_nothing() -> None:
    assert fold_working([]) == Folded((), ())
