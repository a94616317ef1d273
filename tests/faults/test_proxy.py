"""Each fault does what it is called, and is counted."""

from __future__ import annotations

import http.client
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from random import Random
from typing import TYPE_CHECKING

import pytest

from tests.faults.proxy import HELD_BACK_FOR, RATES, SERVER_GONE, UNTOUCHED, FaultProxy

if TYPE_CHECKING:
    from collections.abc import Iterator

ANSWER = b"the whole answer"
NOTHING = ""


class Server(ThreadingHTTPServer):
    """Answers everything, and keeps what arrived whole."""

    def __init__(self) -> None:
        self.bodies: list[str] = []
        super().__init__(("127.0.0.1", 0), _Handler)


class _Handler(BaseHTTPRequestHandler):
    server: Server

    def do_POST(self) -> None:
        length = int(self.headers["Content-Length"])
        body = self.rfile.read(length)
        if len(body) < length:
            return
        self.server.bodies.append(body.decode())
        self.send_response(200)
        self.send_header("Content-Length", str(len(ANSWER)))
        self.end_headers()
        self.wfile.write(ANSWER)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def server() -> Iterator[Server]:
    served = Server()
    thread = threading.Thread(target=served.serve_forever, daemon=True)
    thread.start()
    yield served
    served.shutdown()
    served.server_close()


def sent_through(server: Server, fault: str, bodies: list[str]) -> tuple[list[str], FaultProxy]:
    """Send bodies with one fault each; return the answers, and the proxy, closed."""
    address = ("127.0.0.1", server.server_address[1])
    random = Random(1)  # noqa: S311 - faults to inject, no secret
    proxy = FaultProxy(address, random, rates={fault: 100})
    answers = []
    for body in bodies:
        connection = http.client.HTTPConnection(*proxy.address, timeout=30)
        try:
            connection.request("POST", "/", body, {"Connection": "close"})
            answers.append(connection.getresponse().read().decode())
        except (OSError, http.client.HTTPException):
            answers.append(NOTHING)
        finally:
            connection.close()
    proxy.close()
    return answers, proxy


@pytest.mark.parametrize(
    ("fault", "is_answered", "arrivals"),
    [
        (UNTOUCHED, True, 1),
        ("connection refused", False, 0),
        ("request dropped", False, 0),
        ("request cut off", False, 0),
        ("request delayed", True, 1),
        ("request duplicated", True, 2),
        ("request held back, sent after later ones", False, 1),
        ("old request sent again", True, 2),
        ("answer cut off", False, 1),
        ("answer dropped after the commit", False, 1),
    ],
)
def test_a_fault_does_what_it_is_called(
    server: Server, fault: str, is_answered: bool, arrivals: int
):
    answers, proxy = sent_through(server, fault, ["body " * 50])
    assert (answers[0] == ANSWER.decode()) is is_answered
    assert server.bodies == ["body " * 50] * arrivals
    assert proxy.counts == {fault: 1}


def test_the_faults_of_the_table_are_the_ones_tried_here():
    (marked,) = (mark for mark in test_a_fault_does_what_it_is_called.pytestmark if mark.args)
    assert {row[0] for row in marked.args[1]} == {*RATES, UNTOUCHED}


def test_a_request_held_back_arrives_after_those_sent_later(server: Server):
    bodies = [f"number {number}" for number in range(HELD_BACK_FOR + 1)]
    sent_through(server, "request held back, sent after later ones", bodies)
    arrived = server.bodies
    assert sorted(arrived) == bodies
    assert arrived[0] == bodies[0]


def test_a_server_that_is_gone_is_counted(server: Server):
    server.shutdown()
    server.server_close()
    answers, proxy = sent_through(server, UNTOUCHED, ["body"])
    assert answers == [NOTHING]
    assert proxy.counts[SERVER_GONE] == 1
