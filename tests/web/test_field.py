"""The field app as the server gives it: its shell, its worker, its manifest, its budget."""

import gzip
import json
import re
from io import BytesIO
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.management import call_command
from django.template.loader import render_to_string
from django.urls import reverse
from PIL import Image

from inventory.web import field
from inventory.web.content_policy import content_policy

pytestmark = pytest.mark.django_db

BUDGET_BYTES = 200_000  # issue 4: app shell ≤ 200 kB gzip excluding the QR wasm
WASM = ".wasm"


def kept(client):
    """Return the version and the list that the worker is given."""
    text = client.get("/field/worker.js").content.decode()
    line, _, rest = text.partition("\n")
    assert rest
    return json.loads(line.removeprefix("self.SIGNFLEET = ").removesuffix(";"))


def content_of(client, address):
    """Return what a phone gets at an address."""
    if address == "/field/":
        return client.get(address).content
    found = finders.find(address.removeprefix("/static/"))
    assert found is not None, address
    return Path(found).read_bytes()


@pytest.fixture
def collected(settings, tmp_path):
    """Static files collected as a deployment has them."""
    settings.STATIC_ROOT = tmp_path
    settings.STORAGES = settings.STORAGES | {
        "staticfiles": {
            "BACKEND": "django.contrib.staticfiles.storage.ManifestStaticFilesStorage"
        }
    }
    call_command("collectstatic", interactive=False, verbosity=0)
    return tmp_path


def test_a_phone_is_told_of_the_collected_files_and_of_no_other(client, collected):
    # As when the sources were built anew on a server that still gives out the old files.
    gone = sorted((collected / "build/field/pieces").glob("*.js"))[0]
    gone.unlink()
    files = [each["url"] for each in kept(client)["files"] if each["url"] != "/field/"]
    assert len(files) > 10
    assert [
        url for url in files if not (collected / url.removeprefix("/static/")).exists()
    ] == []


def test_the_shell_opens_for_somebody_who_is_not_signed_in(client):
    answer = client.get("/field/")
    assert answer.status_code == 200
    assert answer["Cache-Control"] == "no-cache"
    assert "csrf" not in answer.content.decode().lower()


def test_only_the_field_page_may_compile_the_qr_reader(client):
    assert (
        "script-src 'self' 'wasm-unsafe-eval';"
        in client.get("/field/")["Content-Security-Policy"]
    )
    assert "wasm" not in client.get("/sign-in/")["Content-Security-Policy"]
    assert "unsafe-eval" not in content_policy("", with_wasm=True).replace(
        "wasm-unsafe-eval", ""
    )


def test_the_worker_may_keep_the_field_page_and_is_never_kept_itself(client):
    answer = client.get("/field/worker.js")
    assert answer["Service-Worker-Allowed"] == "/field/"
    assert answer["Cache-Control"] == "no-cache"
    assert answer["Content-Type"].startswith("text/javascript")


def test_a_phone_keeps_every_file_that_the_shell_and_its_screens_name(client):
    addresses = {file["url"] for file in kept(client)["files"]}
    html = client.get("/field/").content.decode()
    named = set(
        re.findall(r'<(?:script|link)[^>]*(?:src|href)="(/static/[^"]+\.(?:js|css|svg))"', html)
    )
    assert named
    assert named <= addresses
    assert "/field/" in addresses
    # Every script a script imports, by the names that esbuild wrote.
    for address in [each for each in addresses if each.endswith(".js")]:
        folder = address.rsplit("/", 1)[0]
        for name in re.findall(r'"(\.\.?/[\w./-]+\.js)"', content_of(client, address).decode()):
            found = str((Path(folder) / name).resolve())
            assert found in addresses, (address, name)


def test_all_that_the_first_screen_is_made_of_is_asked_for_at_once(client):
    html = client.get("/field/").content.decode()
    asked = set(re.findall(r'rel="modulepreload" href="([^"]+)"', html))
    assert any("/today-" in address for address in asked)
    for address in {"/static/build/field/page.js", *asked}:
        folder = address.rsplit("/", 1)[0]
        script = content_of(client, address).decode()
        for name in re.findall(r'(?:from|import)"(\.\.?/[\w./-]+\.js)"', script):
            assert str((Path(folder) / name).resolve()) in asked, (address, name)


def test_every_file_has_a_revision_of_its_content(client):
    files = kept(client)["files"]
    assert len({file["url"] for file in files}) == len(files)
    for file in files:
        assert re.fullmatch(r"[0-9a-f]{64}", file["revision"]), file
        assert content_of(client, file["url"])


def test_the_revision_of_the_shell_is_that_of_what_is_served(client):
    listed = {file["url"]: file["revision"] for file in kept(client)["files"]}
    assert listed["/field/"] == field._digest(client.get("/field/").content)


@pytest.mark.parametrize(
    "changed", ["build/field/page.js", "css/tokens.css", "build/sw/worker.js"]
)
def test_another_file_is_another_version(client, monkeypatch, changed):
    before = kept(client)["version"]
    known = field._revision
    monkeypatch.setattr(
        field, "_revision", lambda path: "0" * 64 if path == changed else known(path)
    )
    assert kept(client)["version"] != before


def test_another_shell_is_another_version(client, monkeypatch):
    before = kept(client)["version"]

    def rendered(template, context):
        return render_to_string(template, context) + "<!-- changed -->"

    monkeypatch.setattr(field, "render_to_string", rendered)
    after = kept(client)["version"]
    assert after != before
    assert f'data-version="{after}"' in client.get("/field/").content.decode()


def test_a_server_without_built_files_says_what_to_do(client, monkeypatch):
    monkeypatch.setattr(field, "WORKER", "build/sw/none.js")
    answer = client.get("/field/worker.js")
    assert answer.status_code == 503
    assert "make assets" in answer.content.decode()


def test_the_shell_weighs_at_most_200_kb(client):
    sizes = {
        file["url"]: len(gzip.compress(content_of(client, file["url"]), 6))
        for file in kept(client)["files"]
        if not file["url"].endswith(WASM)
    }
    assert sum(sizes.values()) <= BUDGET_BYTES, sorted(sizes.items(), key=lambda each: -each[1])


def test_the_shell_weighs_no_more_where_files_are_collected_under_second_names(
    client, collected
):
    files = [file["url"].removeprefix("/static/") for file in kept(client)["files"]]
    weighed = [name for name in files if name != "/field/" and not name.endswith(WASM)]
    sizes = {name: len(gzip.compress((collected / name).read_bytes(), 6)) for name in weighed}
    shell = len(gzip.compress(client.get("/field/").content, 6))
    assert shell + sum(sizes.values()) <= BUDGET_BYTES
    built = {path.name for path in Path(str(finders.find(field.PIECES))).glob("*.js")}
    assert {Path(name).name for name in files if name.startswith(field.PIECES)} == built


def test_the_reader_of_qr_codes_is_served_by_us_and_kept(client):
    readers = [file["url"] for file in kept(client)["files"] if file["url"].endswith(WASM)]
    assert len(readers) == 1
    # WebAssembly Core Specification 2.0, 5.5.16: the magic number and version 1.
    assert content_of(client, readers[0])[:8] == b"\x00asm\x01\x00\x00\x00"
    assert f'data-wasm="{readers[0]}"' in client.get("/field/").content.decode()


def test_only_one_font_is_kept(client):
    fonts = [file["url"] for file in kept(client)["files"] if file["url"].endswith(".woff2")]
    assert fonts == ["/static/build/fonts/files/public-sans-latin-wght-normal.woff2"]


# W3C, Web Application Manifest: the members that make a page installable.
def test_the_manifest_says_what_an_install_needs(client):
    answer = client.get("/field/manifest.webmanifest")
    assert answer["Content-Type"] == "application/manifest+json"
    said = answer.json()
    assert (said["start_url"], said["scope"], said["display"]) == (
        "/field/",
        "/",
        "standalone",
    )
    assert reverse("sign-in").startswith(said["scope"])  # in the app's own window
    assert said["name"]
    sizes = {(icon["sizes"], icon["purpose"]) for icon in said["icons"]}
    assert sizes == {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")}
    for icon in said["icons"]:
        with Image.open(BytesIO(content_of(client, icon["src"]))) as picture:
            assert f"{picture.width}x{picture.height}" == icon["sizes"]
            assert picture.format == "PNG"


def test_an_iphone_finds_its_icon(client):
    html = client.get("/field/").content.decode()
    found = re.search(r'rel="apple-touch-icon" href="([^"]+)"', html)
    assert found is not None
    with Image.open(BytesIO(content_of(client, found[1]))) as picture:
        assert picture.size == (180, 180)
        assert picture.mode == "RGB"  # a see-through one is drawn on black there


def test_a_maskable_icon_has_its_mark_in_the_circle_that_is_never_cut():
    # W3C, Web Application Manifest, "safe zone": a circle of 40 % of the width.
    found = finders.find("icons/field-maskable-512.png")
    assert isinstance(found, str)
    with Image.open(found) as picture:
        paper = picture.getpixel((0, 0))
        marked = [
            ((x - 255.5) ** 2 + (y - 255.5) ** 2) ** 0.5
            for x in range(picture.width)
            for y in range(picture.height)
            if picture.getpixel((x, y)) != paper
        ]
    assert marked
    assert max(marked) <= 0.4 * 512


def test_static_addresses_are_those_of_the_settings():
    assert field._static_prefix() == "/static/"
    assert settings.STATIC_URL.endswith("/")
