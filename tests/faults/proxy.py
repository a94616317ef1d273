"""
A network that goes wrong between phones and server, on purpose and by count.

One request per connection. What is chosen for each comes from one seeded source, so that a run
can be had again as far as threads allow.
"""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections import Counter
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from random import Random

# Of a hundred requests; the rest go through untouched.
RATES: Mapping[str, int] = {
    "connection refused": 4,
    "request dropped": 5,
    "request cut off": 5,
    "request delayed": 8,
    "request duplicated": 6,
    "request held back, sent after later ones": 5,
    "old request sent again": 5,
    "answer cut off": 6,
    "answer dropped after the commit": 8,
}
UNTOUCHED = "passed untouched"
SERVER_GONE = "server was gone"
LONGEST_DELAY_S = 0.2
HELD_BACK_FOR = 4  # later requests
REPLAYED_FROM = 50  # newest requests
UPSTREAM_TIMEOUT_S = 120.0
_PIECE = 65_536
_HEAD_END = b"\r\n\r\n"


class FaultProxy:
    """Passes requests from phones to the server, some of them badly."""

    def __init__(
        self,
        upstream: tuple[str, int],
        random: Random,
        on_answer: Callable[[], None] = lambda: None,
        rates: Mapping[str, int] = RATES,
    ) -> None:
        self.upstream = upstream
        self.counts: Counter[str] = Counter()
        self.rates = rates
        self._random = random
        self._on_answer = on_answer
        self._lock = threading.Lock()
        self._held_back: list[tuple[int, bytes]] = []
        self._seen: list[bytes] = []
        self._threads: list[threading.Thread] = []
        self._is_open = True
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=128)
        self.address: tuple[str, int] = self._listener.getsockname()
        self._start(self._accept)

    def close(self) -> None:
        """Take no more requests; those held back still go to the server first."""
        self._is_open = False
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        with self._lock:
            held_back, self._held_back = self._held_back, []
        for _, request in held_back:
            self._forward(request)
        for each in self._threads:
            each.join()

    def _start(self, run: Callable[..., object], *arguments: object) -> None:
        thread = threading.Thread(target=run, args=arguments, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while self._is_open:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            self._start(self._serve, client)

    def _serve(self, client: socket.socket) -> None:
        with client, suppress(OSError):
            fault = self._choose()
            if fault == "connection refused":
                # A reset at once: nothing that was sent can have been read.
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                return
            request = read_message(client)
            if request:
                self._pass_on(client, request, fault)

    def _choose(self) -> str:
        with self._lock:
            drawn = self._random.randrange(100)
            for fault, share in self.rates.items():
                drawn -= share
                if drawn < 0:
                    self.counts[fault] += 1
                    return fault
            self.counts[UNTOUCHED] += 1
            return UNTOUCHED

    def _pass_on(self, client: socket.socket, request: bytes, fault: str) -> None:
        due = self._due(request)
        if fault == "request dropped":
            pass
        elif fault == "request cut off":
            self._cut(request)
        elif fault == "request held back, sent after later ones":
            with self._lock:
                self._held_back.append((HELD_BACK_FOR, request))
        else:
            self._answer(client, request, fault)
        for each in due:
            self._forward(each)

    def _answer(self, client: socket.socket, request: bytes, fault: str) -> None:
        if fault == "request delayed":
            time.sleep(self._random.random() * LONGEST_DELAY_S)
        if fault == "request duplicated":
            self._start(self._forward, request)
        if fault == "old request sent again":
            with self._lock:
                old = self._random.choice(self._seen)
            self._start(self._forward, old)
        answer = self._forward(request)
        if fault == "answer dropped after the commit":
            return
        if fault == "answer cut off":
            answer = answer[: self._random.randrange(len(answer))] if answer else b""
        client.sendall(answer)

    def _due(self, request: bytes) -> list[bytes]:
        """Note a request, and return those held back whose turn it is now."""
        with self._lock:
            self._seen = [*self._seen[-REPLAYED_FROM:], request]
            counted = [(left - 1, held) for left, held in self._held_back]
            self._held_back = [(left, held) for left, held in counted if left > 0]
            return [held for left, held in counted if left <= 0]

    def _cut(self, request: bytes) -> None:
        """Send the server a part of a request, and hang up."""
        with suppress(OSError), socket.create_connection(self.upstream) as server:
            server.sendall(request[: self._random.randrange(1, len(request))])

    def _forward(self, request: bytes) -> bytes:
        """Return the server's whole answer; empty where it died or could not be reached."""
        try:
            with socket.create_connection(self.upstream, UPSTREAM_TIMEOUT_S) as server:
                server.sendall(request)
                answer = read_message(server)
        except OSError:
            answer = b""
        if answer:
            self._on_answer()
        else:
            with self._lock:
                self.counts[SERVER_GONE] += 1
        return answer


def read_message(connection: socket.socket) -> bytes:
    """Return one HTTP message with a Content-Length; empty where it ended before its end."""
    data = b""
    while _HEAD_END not in data:
        piece = connection.recv(_PIECE)
        if not piece:
            return b""
        data += piece
    head, _, body = data.partition(_HEAD_END)
    left = _length(head) - len(body)
    while left > 0:
        piece = connection.recv(_PIECE)
        if not piece:
            return b""
        data += piece
        left -= len(piece)
    return data


def _length(head: bytes) -> int:
    for line in head.split(b"\r\n")[1:]:
        name, _, value = line.partition(b":")
        if name.strip().lower() == b"content-length":
            return int(value)
    return 0
