"""The documents name every setting, command, method and error code there is."""

import ast
import re
from pathlib import Path

import pytest

from inventory import errors

ROOT = Path(__file__).resolve().parents[2]
DOCS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]


def _settings_read_from_the_environment() -> set[str]:
    names: set[str] = set()
    for file in sorted((ROOT / "signfleet").rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id.startswith("env_")
                and node.args
                and isinstance(node.args[0], ast.Constant)
            ):
                names.add(str(node.args[0].value))
    return names


def _commands() -> set[str]:
    folder = ROOT / "inventory" / "management" / "commands"
    return {f.stem for f in folder.glob("*.py") if f.stem != "__init__"}


def test_every_setting_is_described():
    text = (ROOT / "docs" / "settings.md").read_text(encoding="utf-8")
    names = _settings_read_from_the_environment() | {"DATABASE_URL"}
    assert len(names) > 5
    assert [n for n in sorted(names) if f"`{n}`" not in text] == []


def test_every_command_is_described():
    text = "\n".join(f.read_text(encoding="utf-8") for f in DOCS)
    commands = _commands()
    assert commands
    assert [c for c in sorted(commands) if not re.search(rf"\b{c}\b", text)] == []


def test_every_error_code_is_described():
    text = (ROOT / "docs" / "errors.md").read_text(encoding="utf-8")
    codes = {
        c.code
        for c in vars(errors).values()
        if isinstance(c, type) and issubclass(c, errors.InventoryError)
    }
    assert [c for c in sorted(codes) if f"`{c}`" not in text] == []


@pytest.mark.parametrize(
    "stage",
    sorted(
        p.name
        for p in (ROOT / "inventory" / "engineering").iterdir()
        if p.is_dir() and (p / "__init__.py").exists()
    ),
)
def test_every_stage_of_the_methods_has_its_page(stage):
    page = ROOT / "docs" / "methods" / f"{stage}.md"
    assert page.exists(), f"docs/methods/{stage}.md is missing"
    assert "ource" in page.read_text(encoding="utf-8"), f"{page} names no source"


@pytest.mark.parametrize("file", DOCS, ids=lambda f: f.relative_to(ROOT).as_posix())
def test_links_between_documents_lead_somewhere(file):
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", file.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (file.parent / target).exists(), f"{file.name} links to {target}"


def test_the_glossary_has_every_verdict():
    from inventory.engineering.assessment.vocabulary import Verdict

    text = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
    assert [v for v in Verdict if v.value not in text] == []
