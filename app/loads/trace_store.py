"""The compact store of a furnace record: Parquet, every figure back bit for bit. No database.

A channel whose figures are all whole tenths is kept as int16 tenths, else as int32 hundredths, else
as float64; a column's metadata names the divisor. Dividing the whole number by 10 or 100 gives the
very float that reading its text gave, because both are the float nearest to that decimal; each
column is compared before it is kept so. A missing sample is a null.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from app.judging.record.spans import Floats
from app.judging.record.trace import Trace

_TIME = "time_s"
_LEVEL = 1
_WHOLE: tuple[tuple[int, Any], ...] = ((10, np.int16), (100, np.int32))
_WHOLE_TIMES: tuple[tuple[int, Any], ...] = ((1, np.int32), (1000, np.int64), (1_000_000, np.int64))


def pack_trace(trace: Trace) -> bytes:
    """The trace as a Parquet file."""
    columns = [_column(_TIME, trace.times, _WHOLE_TIMES)]
    # A channel may be called what it likes, even time_s: its column is numbered instead.
    columns += [
        _column(str(number), values, _WHOLE, channel=name)
        for number, (name, values) in enumerate(trace.channels.items())
    ]
    schema = pa.schema([field for field, _ in columns]).with_metadata(
        {"temperature_unit": trace.temperature_unit}
    )
    whole = [field.name for field in schema if pa.types.is_integer(field.type)]
    floats = [field.name for field in schema if not pa.types.is_integer(field.type)]
    sink = pa.BufferOutputStream()
    pq.write_table(
        pa.Table.from_arrays([array for _, array in columns], schema=schema),
        sink,
        compression="lz4",
        use_dictionary=False,
        write_statistics=False,
        column_encoding=dict.fromkeys(whole, "DELTA_BINARY_PACKED")
        | dict.fromkeys(floats, "BYTE_STREAM_SPLIT"),
    )
    return bytes(sink.getvalue())


def unpack_trace(content: bytes) -> Trace:
    """The trace that :func:`pack_trace` was given, bit for bit (any NaN for a missing sample)."""
    table = pq.read_table(pa.BufferReader(content))
    read = {
        (field.metadata or {}).get(b"channel", _TIME.encode()).decode(): _values(
            table.column(field.name), int((field.metadata or {}).get(b"divisor", b"0"))
        )
        for field in table.schema
        if field.name != _TIME
    }
    time = table.schema.field(_TIME)
    times = _values(table.column(_TIME), int((time.metadata or {}).get(b"divisor", b"0")))
    unit = table.schema.metadata[b"temperature_unit"].decode()
    return Trace(times, read, "F" if unit == "F" else "C")


def _column(
    name: str, values: Floats, whole: tuple[tuple[int, Any], ...], *, channel: str | None = None
) -> tuple[Any, Any]:
    """The column's field and array, in the smallest form that gives the same bits back."""
    missing = np.isnan(values)
    mask = missing if missing.any() else None
    known = values if mask is None else np.where(missing, 0.0, values)
    named = {} if channel is None else {"channel": channel}
    for divisor, kind in whole:
        limits = np.iinfo(kind)
        least, most = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
        if least * divisor < limits.min or most * divisor > limits.max:
            continue
        numbers = np.rint(known * divisor).astype(kind)
        # Bits are compared, not values: -0.0 is not 0.0 here.
        if np.array_equal((numbers / divisor).view(np.int64), known.view(np.int64)):
            array = pa.array(numbers, mask=mask)
            return pa.field(name, array.type, metadata={"divisor": str(divisor), **named}), array
    array = pa.array(known, mask=mask)
    return pa.field(name, array.type, metadata=named or None), array


def _values(column: Any, divisor: int) -> Floats:
    values: Floats = column.to_numpy().astype(np.float64)
    return values / divisor if divisor else values


def pack_file(content: bytes) -> bytes:
    """The file compressed (zstd frame), byte for byte recoverable. Lets other threads run."""
    packed: bytes = pa.Codec("zstd", compression_level=_LEVEL).compress(content, asbytes=True)
    return packed


def pack_path(path: Path) -> bytes:
    """As :func:`pack_file`, of a file on disk that is not read into memory first."""
    with pa.memory_map(str(path)) as mapped:
        packed: bytes = pa.Codec("zstd", compression_level=_LEVEL).compress(
            mapped.read_buffer(), asbytes=True
        )
    return packed


def unpack_file(packed: bytes, *, size_bytes: int) -> bytes:
    """The file as it was uploaded."""
    content: bytes = pa.decompress(packed, decompressed_size=size_bytes, codec="zstd", asbytes=True)
    return content
