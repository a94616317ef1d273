"""Run the JavaScript tests with Node's own runner, where there are any."""

from __future__ import annotations

import sys

from tools.node import ROOT, run_node


def main() -> int:
    """Run ``tests/js/**/*.test.js`` and return how it ended."""
    tests = sorted(str(path.relative_to(ROOT)) for path in ROOT.glob("tests/js/**/*.test.js"))
    if not tests:
        print("There are no JavaScript tests.")
        return 0
    return run_node("--test", *tests)


if __name__ == "__main__":
    sys.exit(main())
