"""Every form is read as the run truly was, bit for bit, under the mapping that states it."""

from collections import Counter
from fractions import Fraction

import numpy as np
import pytest

from app.documents.logger.logger_files import read_logger
from app.documents.logger.logger_mapping import mapping_from_json
from tests.documents.torture.forms import form_of
from tests.documents.torture.written import (
    expected_channels,
    expected_missing,
    truth_for,
    unit_of,
    written,
)

FORMS = 480


def assert_as_true(reading, form, truth) -> None:
    """The reading is the truth: times, every reading's bits, every missing sample."""
    assert reading.trace.times.tobytes() == truth.seconds.tobytes()
    if form.time_kind == "elapsed":
        assert reading.started_at is None
    else:
        assert reading.started_at is not None
        assert reading.started_at.utcoffset() is not None
        assert Fraction(reading.started_at.timestamp()) == Fraction(truth.instants[0], 10**9)
    expected = expected_channels(form, truth)
    assert list(reading.trace.channels) == list(expected)
    for at, (name, true) in enumerate(expected.items()):
        for row in expected_missing(form, truth).get(name, ()):
            true[row] = np.nan
        found = reading.trace.channels[name]
        assert np.array_equal(np.isnan(found), np.isnan(true)), name
        if name == "VAC" and (form.vacuum != "kPa" or form.sense != "below ambient"):
            # Converted: the printed factors have seven figures, the rounding is double precision.
            np.testing.assert_allclose(found, true, rtol=4e-7, atol=4e-5)
        elif name != "VAC" and form.mixed_units and unit_of(form, at) == "F":
            np.testing.assert_allclose(found, true, rtol=1e-15, atol=1e-13)
        else:
            known = ~np.isnan(true)
            assert found[known].tobytes() == true[known].tobytes(), name


@pytest.mark.parametrize("seed", range(FORMS))
def test_a_form_is_read_as_the_run_was(seed: int) -> None:
    form = form_of(seed)
    truth = truth_for(form)
    files, paper = written(form, truth)
    reading = read_logger(files, mapping_from_json(paper, filename="mapping"))
    assert_as_true(reading, form, truth)
    if form.repeated:
        assert any("left out" in note for note in reading.notes)
    if form.start in {"forward", "back"} and form.files == "one":
        assert any(f"set {form.start}" in note for note in reading.notes)


def test_the_forms_cover_every_trait_several_times() -> None:
    seen = Counter(trait for seed in range(FORMS) for trait in form_of(seed).traits)
    few = {trait: count for trait, count in seen.items() if count < 5}
    assert not few
    wanted = (
        "encoding utf-16",
        "encoding latin-1",
        "start forward",
        "start back",
        "time date cell",
    )
    for trait in (
        *wanted,
        "start leap day",
        "zone in the file",
        "files union of times",
        "1904 True",
    ):
        assert seen[trait] >= 10, trait
    assert seen["kind csv"] >= 300
