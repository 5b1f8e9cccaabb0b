"""The compact store gives every bit back."""

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judging.record.spans import Floats
from app.judging.record.trace import Trace
from app.loads.trace_store import pack_file, pack_trace, unpack_file, unpack_trace


def _same_bits(one: Floats, other: Floats) -> bool:
    """Equal bit for bit; a missing sample is a missing sample whatever NaN stands for it."""
    missing = np.isnan(one)
    known = ~missing
    same_gaps = np.array_equal(missing, np.isnan(other))
    return same_gaps and np.array_equal(one[known].view(np.int64), other[known].view(np.int64))


_READINGS = st.one_of(
    st.decimals(-400, 2000, places=1).map(lambda figure: float(str(figure))),
    st.decimals(-400, 2000, places=2).map(lambda figure: float(str(figure))),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([-0.0, 0.0, 3276.7, 3276.8, -3276.8, -3276.9, 0.1 + 0.2]),
    st.just(float("nan")),
)


@given(
    st.integers(0, 40).flatmap(
        lambda count: st.lists(st.lists(_READINGS, min_size=count, max_size=count), max_size=4)
    ),
    st.sampled_from(["C", "F"]),
)
def test_any_channel_comes_back_bit_for_bit(channels: list[list[float]], unit: str) -> None:
    count = len(channels[0]) if channels else 3
    trace = Trace(
        np.arange(count, dtype=np.float64),
        {f"TC {n}": np.array(values, dtype=np.float64) for n, values in enumerate(channels)},
        "F" if unit == "F" else "C",
    )
    back = unpack_trace(pack_trace(trace))
    assert back.temperature_unit == unit
    assert list(back.channels) == list(trace.channels)
    assert _same_bits(trace.times, back.times)
    for name, values in trace.channels.items():
        assert _same_bits(values, back.channels[name])


@given(
    st.lists(
        st.one_of(
            st.integers(0, 10**6).map(float),
            st.decimals(0, 10**5, places=3).map(lambda figure: float(str(figure))),
            st.floats(0, 1e6),
        ),
        min_size=1,
        max_size=50,
    )
)
def test_any_times_come_back_bit_for_bit(times: list[float]) -> None:
    trace = Trace(np.array(times), {})
    assert _same_bits(trace.times, unpack_trace(pack_trace(trace)).times)


def test_channels_may_carry_the_stores_own_names() -> None:
    channels = {"time_s": np.array([1.5]), "0": np.array([2.5]), "ä, b": np.array([3.5])}
    back = unpack_trace(pack_trace(Trace(np.array([0.0]), channels)))
    assert {name: values.tolist() for name, values in back.channels.items()} == {
        "time_s": [1.5],
        "0": [2.5],
        "ä, b": [3.5],
    }


@pytest.mark.parametrize(("step", "kind"), [(0.1, "int16"), (0.01, "int32"), (1 / 3, "double")])
def test_the_smallest_exact_form_is_used(
    step: float, kind: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("store") / "trace.parquet"
    values = np.array([float(f"{15000 * step + n * step:.15g}") for n in range(50)])
    path.write_bytes(pack_trace(Trace(np.arange(50.0), {"TC1": values})))
    assert str(pq.read_schema(path).field("0").type) == kind


@given(st.binary(max_size=2000))
def test_a_file_comes_back_byte_for_byte(content: bytes) -> None:
    assert unpack_file(pack_file(content), size_bytes=len(content)) == content
