"""
The nesting library in a process of its own: a fault in it ends that process alone.

Run as a script this file is that process: a line of JSON asks, a line of JSON answers. It
imports nothing of the project, so that it starts at once and nothing else is loaded again.
"""

from __future__ import annotations

import json
import subprocess  # one fixed command: this Python with this file
import sys
from contextlib import suppress
from threading import Timer
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import TracebackType
    from typing import TextIO

# A kind's corners (along the roll, across it), how many of it, and the turns it may lie in.
Kind = tuple[list[tuple[float, float]], int, list[float]]
Nested = list[tuple[int, float, float, float]]  # kind, turn, along, across

_GRACE_S = 20.0  # to start and to answer, beyond the time it was given


class NestingProcess:
    """
    Nests one set of outlines after another; started at the first, ended with the `with`.

    A process that ended without an answer, or gave none in time, is started anew for the next.
    """

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> NestingProcess:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def pid(self) -> int | None:
        """Return the number of the process, if there is one."""
        return self._process.pid if self._process is not None else None

    def nest(
        self, kinds: list[Kind], *, strip_in: float, seconds: float, seed: int
    ) -> Nested | None:
        """Return where outlines lie, or none if the library gave way; in whole seconds."""
        process = self._process = self._process or _start()
        if process.stdin is None or process.stdout is None:
            msg = "the nesting process was started without its two lines"
            raise AssertionError(msg)
        too_late = Timer(seconds + _GRACE_S, process.kill)
        too_late.start()
        try:
            process.stdin.write(
                json.dumps([kinds, strip_in, max(1, int(seconds)), seed]) + "\n"
            )
            process.stdin.flush()
            answer = process.stdout.readline()
        except OSError:  # it ended before it was asked
            answer = ""
        finally:
            too_late.cancel()
        if not answer.endswith("\n"):
            self.close()
            return None
        return [(kind, turn, along, across) for kind, turn, along, across in json.loads(answer)]

    def close(self) -> None:
        """End the process, whatever it is doing."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for line in (self._process.stdin, self._process.stdout):
                if line is not None:
                    with suppress(OSError):  # what was not sent to a process that ended
                        line.close()
        self._process = None


def _start() -> subprocess.Popen[str]:
    return subprocess.Popen(  # noqa: S603 (this Python, this file)
        [sys.executable, __file__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )


def nest_here(kinds: list[Kind], strip_in: float, seconds: int, seed: int) -> Nested:
    """Return where outlines lie, nested in this very process."""
    import spyrrow

    strip = spyrrow.StripPackingInstance(
        "roll",
        strip_in,
        [
            spyrrow.Item(str(at), [(x, y) for x, y in outline], count, angles)
            for at, (outline, count, angles) in enumerate(kinds)
        ],
    )
    config = spyrrow.StripPackingConfig(
        early_termination=False, total_computation_time=seconds, num_workers=1, seed=seed
    )
    return [
        (int(some.id), some.rotation, some.translation[0], some.translation[1])
        for some in strip.solve(config).placed_items
    ]


def answer_all(asked: TextIO, answers: TextIO) -> None:
    """Nest what is asked, line after line, until nobody asks any more."""
    for line in asked:
        print(json.dumps(nest_here(*json.loads(line))), file=answers, flush=True)


if __name__ == "__main__":
    answer_all(sys.stdin, sys.stdout)
