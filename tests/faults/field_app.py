"""The phones that run the field app's own code, in one Node beside the simulated ones."""

from __future__ import annotations

import json
import subprocess
import threading
from typing import TYPE_CHECKING, Any

from PIL import Image

from tests.faults.site import ROOT
from tools.node import NODE

if TYPE_CHECKING:
    from pathlib import Path

# Photos go in pieces of 256 KiB (static/js/field/constants.js): one piece, and several.
PICTURE_SIDES_PX = (120, 1000)
NOISE = 80.0


class FieldApp:
    """Several phones that record, send and keep what they hold as the field app does."""

    def __init__(
        self,
        world: dict[str, Any],
        known: list[dict[str, Any]],
        address: tuple[str, int],
        folder: Path,
    ) -> None:
        self.address = address
        self.trouble: Exception | None = None
        self.epochs: list[str] = []
        pictures = [str(path) for path in draw_pictures(folder)]
        told = json.dumps({"world": world, "phones": known, "pictures": pictures, "seed": 7})
        self._node = subprocess.Popen(
            [NODE, "tests/faults/field_app.mjs", told],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, wanted: int, stop: threading.Event) -> None:
        """Let each phone record up to ``wanted`` operations, and send all it holds."""
        try:
            self._tell("run", wanted=wanted)
        except Exception as trouble:  # noqa: BLE001 - of a thread: raised by the run
            self.trouble = trouble
            stop.set()

    def check_in(self) -> None:
        """Let each phone speak to the server, and send again what it then offers."""
        self.epochs += self._tell("check_in")["epochs"]

    def write(self, folder: Path) -> int:
        """Write what the phones hold beside the other outboxes; return how often they tried."""
        for path in folder.glob("app-*.jsonl"):
            path.unlink()
        tries: int = self._tell("write", folder=str(folder))["tries"]
        return tries

    def close(self) -> None:
        """End it."""
        self._node.kill()
        self._node.communicate()

    def _tell(self, command: str, **more: Any) -> dict[str, Any]:
        assert self._node.stdin is not None
        assert self._node.stdout is not None
        address = "http://{}:{}".format(*self.address)
        line = json.dumps({"command": command, "address": address, **more})
        self._node.stdin.write(line + "\n")
        self._node.stdin.flush()
        answer = self._node.stdout.readline()
        if not answer:
            msg = f"The field app's phones ended while told to {command}; see above."
            raise RuntimeError(msg)
        told: dict[str, Any] = json.loads(answer)
        return told


def draw_pictures(folder: Path) -> list[Path]:
    """Draw a small picture of one piece and a large one of several, all noise."""
    found = []
    for side_px in PICTURE_SIDES_PX:
        path = folder / f"picture-{side_px}.jpg"
        Image.effect_noise((side_px, side_px), NOISE).save(path, quality=90)
        found.append(path)
    return found
