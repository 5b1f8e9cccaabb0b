"""The bare parse of a logger's file, in a process of its own: ``polars`` or ``pyarrow``, a path.

Prints the best of five, in seconds.
"""

import sys
import time
from pathlib import Path

TIMES = 5


def _parse_polars(path: Path) -> int:
    import polars as pl  # noqa: PLC0415 - each process loads only its own library

    return pl.read_csv(path).height


def _parse_pyarrow(path: Path) -> int:
    import pyarrow.csv  # noqa: PLC0415 - each process loads only its own library

    rows: int = pyarrow.csv.read_csv(path).num_rows
    return rows


def main(library: str, path: Path) -> None:
    parse = {"polars": _parse_polars, "pyarrow": _parse_pyarrow}[library]
    taken = []
    for _ in range(TIMES):
        began = time.perf_counter()
        rows = parse(path)
        taken.append(time.perf_counter() - began)
        assert rows > 0
    print(f"{min(taken):.6f}")  # noqa: T201 - the answer to the process that asked


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
