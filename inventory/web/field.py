"""The field app as a phone keeps it: its shell, its worker and what that keeps, its manifest.

All three are the same for everybody, signed in or not: the phone opens without signal.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from html.parser import HTMLParser
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_safe

from inventory.web.content_policy import HEADER, content_policy

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.http import HttpRequest

WORKER = "build/sw/worker.js"
PAGE = "build/field/page.js"
PIECES = "build/field/pieces"
FIRST_PIECES = "build/field/first.json"  # what the first screen is made of (build_assets)
READER = "build/vendor/zxing_reader.wasm"
# Of the fonts that the style sheet names, the one that the app's words are set in.
FONT = "build/fonts/files/public-sans-latin-wght-normal.woff2"
# A phone's own list of icons is not kept a second time by the worker.
KEPT_LINKS = ("stylesheet", "icon")
VERSION_LENGTH = 12
NEVER_OLD = "no-cache"
NOT_BUILT = "The field app is not built on this server: run `make assets`.\n"
# The night theme's paper: the phone shows it while the app opens, at any hour.
DARK = "#0b0d0f"
ICONS = (
    ("icons/field-192.png", "192x192", "any"),
    ("icons/field-512.png", "512x512", "any"),
    ("icons/field-maskable-512.png", "512x512", "maskable"),
)


@require_safe
def field_shell(_request: HttpRequest) -> HttpResponse:
    answer = HttpResponse(_shell(field_version()))
    answer["Cache-Control"] = NEVER_OLD
    answer[HEADER] = content_policy(settings.MAP_TILE_ADDRESS, with_wasm=True)
    return answer


@require_safe
def field_worker(_request: HttpRequest) -> HttpResponse:
    script = _served(WORKER)
    if script is None:
        return HttpResponse(
            NOT_BUILT, content_type="text/plain", status=HTTPStatus.SERVICE_UNAVAILABLE
        )
    version = field_version()
    shell = {"url": reverse("field"), "revision": _digest(_shell(version).encode())}
    known = json.dumps({"version": version, "files": [shell, *_kept_files()]})
    text = f"self.SIGNFLEET = {known};\n{Path(script).read_text(encoding='utf-8')}"
    answer = HttpResponse(text, content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = NEVER_OLD
    answer["Service-Worker-Allowed"] = reverse("field")
    return answer


@require_safe
def field_manifest(_request: HttpRequest) -> JsonResponse:
    home = reverse("field")
    answer = JsonResponse(
        {
            "id": home,
            "name": "signfleet in the field",
            "short_name": "signfleet",
            "description": "Find, read, look at and put up traffic signs, without signal too.",
            "lang": "en-GB",
            "start_url": home,
            # Signing in is a page of the site: within the app's window too.
            "scope": reverse("home"),
            "display": "standalone",
            "background_color": DARK,
            "theme_color": DARK,
            "icons": [
                {"src": static(path), "sizes": sizes, "type": "image/png", "purpose": purpose}
                for path, sizes, purpose in ICONS
            ],
        },
        content_type="application/manifest+json",
    )
    answer["Cache-Control"] = NEVER_OLD
    return answer


def field_version() -> str:
    """Return the version of the app: another one as soon as any of its files is another."""
    whole = json.dumps([_shell(""), _kept_files(), _revision(WORKER)])
    return _digest(whole.encode())[:VERSION_LENGTH]


def _shell(version: str) -> str:
    """Return the shell as HTML; without the request, since it is nobody's in particular."""
    return render_to_string(
        "inventory/field/shell.html", {"version": version, "first_pieces": _first_pieces()}
    )


def _first_pieces() -> list[str]:
    """Return the scripts that the first screen asks for, one after another if not told."""
    listed = _served(FIRST_PIECES)
    if listed is None:
        return []
    pieces = json.loads(Path(listed).read_text(encoding="utf-8"))
    return [f"{_static_prefix()}{piece}" for piece in pieces if piece != PAGE]


def _kept_files() -> list[dict[str, str | None]]:
    """Return the address and the revision of every file that a phone keeps with the shell."""
    named = _Named()
    named.feed(_shell(""))
    addresses = [*named.addresses, static(FONT), static(READER), *_pieces()]
    return [
        {"url": address, "revision": _revision(address.removeprefix(_static_prefix()))}
        for address in dict.fromkeys(addresses)
    ]


def _pieces() -> Iterable[str]:
    """Return the screens' own scripts, as the first one imports them: beside it, by name."""
    folder = _served(PIECES)
    if folder is None:
        return []
    # The names carry the content's hash already; nothing renames them on the way. Collecting
    # lays a copy under a second name beside each, which no script asks for.
    copies = set((_hashed_files() or {}).values())
    pieces = [f"{PIECES}/{path.name}" for path in sorted(Path(folder).glob("*.js"))]
    return [f"{_static_prefix()}{piece}" for piece in pieces if piece not in copies]


def _static_prefix() -> str:
    return f"/{settings.STATIC_URL.lstrip('/')}"


def _served(path: str) -> str | None:
    """
    Return where a static file is that this server gives out; ``None`` when it has none.

    Where files are collected, those count, not what was built since: a phone that is told of
    a file that is not there keeps nothing at all.
    """
    if _hashed_files() is None:
        found: str | None = finders.find(path)
        return found
    place = Path(settings.STATIC_ROOT) / path
    return str(place) if place.exists() else None


def _hashed_files() -> dict[str, str] | None:
    """Return the names of collected files with their hash in them; ``None``: not collected."""
    return getattr(staticfiles_storage, "hashed_files", None)


def _revision(path: str) -> str | None:
    """Return a hash of a static file; none for a name that holds its content's hash itself."""
    found = None if path in (_hashed_files() or {}).values() else _served(path)
    if found is None:
        return None
    place = Path(found)
    seen = place.stat()
    return _digest_of_file(place, seen.st_mtime_ns, seen.st_size)


@lru_cache(maxsize=512)
def _digest_of_file(place: Path, _changed_ns: int, _size_bytes: int) -> str:
    return _digest(place.read_bytes())


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


class _Named(HTMLParser):
    """Collects the files that the shell names."""

    def __init__(self) -> None:
        super().__init__()
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        address = None
        if tag == "script":
            address = named.get("src")
        elif tag == "link" and named.get("rel") in KEPT_LINKS:
            address = named.get("href")
        if address and address.startswith(_static_prefix()):
            self.addresses.append(address)
