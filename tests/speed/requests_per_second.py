"""Requests a second for one address, by plain sockets kept alive, in a process of its own.

Arguments: port, path, cookie ("" for none), requests in all. Prints requests a second.
"""

import socket
import sys
import threading
import time

CONNECTIONS = 2
WARM_UP = 30


def _read_answer(connection: socket.socket) -> None:
    """Read one answer whole; only a 200 with its length counts."""
    received = b""
    while b"\r\n\r\n" not in received:
        part = connection.recv(65_536)
        assert part, "the server closed the connection"
        received += part
    head, _, body = received.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200"), head[:200]
    length = int(head.lower().split(b"content-length:")[1].split(b"\r\n")[0])
    missing = length - len(body)
    while missing > 0:
        part = connection.recv(min(missing, 1 << 20))
        assert part, "the server closed the connection"
        missing -= len(part)


def _ask(port: int, request: bytes, times: int) -> None:
    with socket.create_connection(("127.0.0.1", port)) as connection:
        for _ in range(times):
            connection.sendall(request)
            _read_answer(connection)


def _rate(port: int, request: bytes, times: int) -> float:
    threads = [
        threading.Thread(target=_ask, args=(port, request, times // CONNECTIONS))
        for _ in range(CONNECTIONS)
    ]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return times // CONNECTIONS * CONNECTIONS / (time.perf_counter() - began)


def main(port: int, path: str, cookie: str, times: int) -> None:
    carried = f"Cookie: {cookie}\r\n" if cookie else ""
    request = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{carried}\r\n".encode()
    _ask(port, request, WARM_UP)
    print(f"{_rate(port, request, times):.3f}")  # noqa: T201 - the answer to the process that asked


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4]))
