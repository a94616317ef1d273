"""
Run the JavaScript tests with Node's own runner, where there are any.

What the Python methods say of many invented faces, labels and ways is written out first: the
scripts that do the same on the phone are compared with it.
"""

from __future__ import annotations

import subprocess
import sys

from tools.node import ROOT, run_node

VECTORS = (
    "tests.engineering.assessment.verdict_vectors",
    "tests.engineering.phone_vectors",
)


def main() -> int:
    """Run ``tests/js/**/*.test.js`` and return how it ended."""
    tests = sorted(str(path.relative_to(ROOT)) for path in ROOT.glob("tests/js/**/*.test.js"))
    if not tests:
        print("There are no JavaScript tests.")
        return 0
    for module in VECTORS:
        made = subprocess.run([sys.executable, "-m", module], cwd=ROOT, check=False).returncode
        if made:
            return made
    return run_node("--test", *tests)


if __name__ == "__main__":
    sys.exit(main())
