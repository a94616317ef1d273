"""
Build the front-end files into ``static/build`` from the npm lock file.

Nothing runs, and nothing touches the network, while the sources and the built files are
those of the last build (``static/build/stamp.json``). With ``--modules-only`` it makes sure
of ``node_modules`` alone, for the tools in it.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sys
from pathlib import Path

from tools.node import ROOT, run_node, run_npm

BUILD = ROOT / "static" / "build"
STAMP = BUILD / "stamp.json"
MODULES = ROOT / "node_modules"
MODULES_STAMP = MODULES / ".signfleet-lock"
LOCK = ROOT / "package-lock.json"
SCRIPTS = ROOT / "static" / "js"
FIELD_ENTRY = SCRIPTS / "field" / "page.js"
WORKER_ENTRY = SCRIPTS / "sw" / "worker.js"
FIRST_SCREEN = SCRIPTS / "field" / "screens" / "today.js"

# What pages take as it is: (inside node_modules, inside static/build).
COPIES = {
    "@fontsource-variable/public-sans/wght.css": "fonts/public-sans.css",
    "@fontsource-variable/public-sans/wght-italic.css": "fonts/public-sans-italic.css",
    "@fontsource-variable/public-sans/files/*.woff2": "fonts/files/",
    "@fontsource-variable/public-sans/LICENSE": "fonts/LICENSE",
    "leaflet/dist/leaflet.css": "vendor/leaflet.css",
    "leaflet/dist/images/*.png": "vendor/images/",
    "leaflet/LICENSE": "vendor/leaflet.LICENSE",
    "leaflet.markercluster/dist/MarkerCluster.css": "vendor/MarkerCluster.css",
    "leaflet.markercluster/MIT-LICENCE.txt": "vendor/MarkerCluster.LICENSE",
    "uplot/dist/uPlot.min.css": "vendor/uPlot.css",
    "uplot/LICENSE": "vendor/uPlot.LICENSE",
    "zxing-wasm/dist/reader/zxing_reader.wasm": "vendor/zxing_reader.wasm",
    "zxing-wasm/LICENSE": "vendor/zxing_reader.LICENSE",
}


def main() -> int:
    """Build what is out of date; print nothing when nothing is."""
    if "--modules-only" in sys.argv[1:]:
        return 0 if _modules_are_those_of_the_lock() or _install_modules() else 1
    wanted = _fingerprint()
    if _is_whole(wanted):
        return 0
    print("Building the front-end files.", flush=True)
    if not _modules_are_those_of_the_lock() and not _install_modules():
        return 1
    if not _build() and not (_install_modules() and _build()):
        print("The front-end files were not built (the reason is above).", file=sys.stderr)
        return 1
    half = STAMP.with_suffix(".half")
    half.write_text(json.dumps({"fingerprint": wanted, "files": _built()}), encoding="utf-8")
    half.replace(STAMP)
    return 0


def _sources() -> list[Path]:
    """Return every file the build depends on."""
    own = [LOCK, ROOT / "package.json", Path(__file__)]
    return own + sorted(path for path in SCRIPTS.rglob("*.js") if path.is_file())


def _fingerprint() -> str:
    """Return what the build depends on, as one number."""
    digest = hashlib.sha256()
    for path in _sources():
        digest.update(str(path.relative_to(ROOT)).encode() + b"\0")
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def _built() -> dict[str, int]:
    """Return the built files and their sizes."""
    stamps = {STAMP, STAMP.with_suffix(".half")}
    return {
        str(path.relative_to(BUILD)): path.stat().st_size
        for path in sorted(BUILD.rglob("*"))
        if path.is_file() and path not in stamps
    }


def _is_whole(wanted: str) -> bool:
    """Return whether the last build was of these sources and all its files are there."""
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return bool(stamp.get("fingerprint") == wanted and stamp.get("files") == _built())


def _lock_digest() -> str:
    return hashlib.sha256(LOCK.read_bytes()).hexdigest()


def _modules_are_those_of_the_lock() -> bool:
    """Return whether node_modules was finished from this lock file."""
    try:
        return MODULES_STAMP.read_text(encoding="ascii") == _lock_digest()
    except OSError:
        return False


def _install_modules() -> bool:
    """Fetch the packages of the lock file; their own scripts are not run."""
    MODULES_STAMP.unlink(missing_ok=True)
    if run_npm("ci"):
        print(
            "npm could not fetch the packages; it needs the network this once. Run make "
            "again when that is there.",
            file=sys.stderr,
        )
        return False
    MODULES_STAMP.write_text(_lock_digest(), encoding="ascii")
    return True


def _build() -> bool:
    """Build into an empty folder; return whether it went well."""
    shutil.rmtree(BUILD, ignore_errors=True)
    BUILD.mkdir(parents=True)
    try:
        _copy()
    except OSError as error:
        print(error, file=sys.stderr)
        return False
    if not all(_bundle(entries, *switches) for entries, switches in _bundles() if entries):
        return False
    _note_first_pieces()
    return True


def _bundles() -> list[tuple[list[Path], tuple[str, ...]]]:
    """Return what is bundled together and how: pages, the field app, its worker."""
    pages = sorted((SCRIPTS / "pages").glob("*.js"))
    # A screen of the field app is loaded when it is opened; what screens share, once.
    in_pieces = (
        "--format=esm",
        "--splitting",
        "--chunk-names=field/pieces/[name]-[hash]",
        f"--metafile={_parts_list().relative_to(ROOT)}",
    )
    # Not every browser takes a module for a worker.
    as_script = ("--format=iife", '--define:process.env.NODE_ENV="production"')
    return [
        (pages, ("--format=esm",)),
        ([path for path in (FIELD_ENTRY,) if path.exists()], in_pieces),
        ([path for path in (WORKER_ENTRY,) if path.exists()], as_script),
    ]


def _parts_list() -> Path:
    """Return where esbuild says which piece imports which; read once, then dropped."""
    return BUILD / "parts.json"


def _note_first_pieces() -> None:
    """Note what the field app's first screen is made of: it is all asked for at once."""
    listed = _parts_list()
    if not listed.exists():
        return
    made = json.loads(listed.read_text(encoding="utf-8"))["outputs"]
    listed.unlink()
    firsts = {str(path.relative_to(ROOT)) for path in (FIELD_ENTRY, FIRST_SCREEN)}
    open_ones = [name for name, about in made.items() if about.get("entryPoint") in firsts]
    wanted: set[str] = set()
    while open_ones:
        name = open_ones.pop()
        if name not in wanted:
            wanted.add(name)
            open_ones += [
                each["path"]
                for each in made[name]["imports"]
                if each["kind"] == "import-statement"
            ]
    pieces = sorted(str((ROOT / name).relative_to(BUILD.parent)) for name in wanted)
    (BUILD / "field" / "first.json").write_text(json.dumps(pieces), encoding="utf-8")


def _bundle(entries: list[Path], *switches: str) -> bool:
    """Bundle some scripts; return whether it went well."""
    bundled = run_node(
        "node_modules/esbuild/bin/esbuild",
        *(str(path.relative_to(ROOT)) for path in entries),
        "--bundle",
        "--minify",
        "--target=es2022",
        f"--outbase={SCRIPTS.relative_to(ROOT)}",
        f"--outdir={BUILD.relative_to(ROOT)}",
        "--log-level=warning",
        *switches,
    )
    return bundled == 0


def _copy() -> None:
    """Copy the style sheets and fonts that pages take as they are."""
    for source, target in COPIES.items():
        found = sorted(MODULES.glob(source))
        if not found:
            msg = f"node_modules/{source} is missing."
            raise FileNotFoundError(msg)
        for path in found:
            place = BUILD / target / path.name if target.endswith("/") else BUILD / target
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, place)
    # The field app carries it, and is to stay small.
    sheet = str((BUILD / "vendor" / "leaflet.css").relative_to(ROOT))
    esbuild = "node_modules/esbuild/bin/esbuild"
    shrink = (
        sheet,
        "--minify",
        "--allow-overwrite",
        f"--outfile={sheet}",
        "--log-level=warning",
    )
    if run_node(esbuild, *shrink):
        msg = f"{sheet} could not be made smaller."
        raise RuntimeError(msg)


if __name__ == "__main__":
    sys.exit(main())
