"""A test that was left out is said loudly, and fails the run under CI."""

from pathlib import Path

import pytest

from tests.left_out import find_chromium, is_allowed

ROOT = Path(__file__).resolve().parents[2]

SUITE = """
import pytest

def test_runs():
    pass

@pytest.mark.browser
def test_drives_a_browser():
    raise AssertionError("ran without a browser")

@pytest.mark.skip(reason="the shared inventory file is not on this machine")
def test_reads_the_shared_file():
    pass

@pytest.mark.xfail(reason="known", strict=True)
def test_known():
    raise AssertionError
"""


@pytest.fixture
def suite(pytester, monkeypatch):
    """A small suite run by a pytest of its own, without a Chromium on its path."""
    pytester.makeini("[pytest]\nmarkers =\n    browser: drives Chromium\n")
    monkeypatch.setenv("PATH", str(pytester.path))
    monkeypatch.delenv("CHROMIUM", raising=False)
    monkeypatch.delenv("CI", raising=False)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))

    def run(*text, options=(), **files):
        pytester.makepyfile(*text, **files)
        plugins = ("-p", "tests.left_out", "-p", "no:django")
        return pytester.runpytest_subprocess(*plugins, *options)

    return run


def test_a_left_out_test_is_said_loudly_with_its_reason(suite):
    result = suite(SUITE)
    assert result.ret == pytest.ExitCode.OK
    result.stdout.fnmatch_lines(["!*LEFT OUT*!", "1 test * did not run: there is no Chromium*"])


@pytest.mark.parametrize("options", [(), ("--numprocesses=2",)], ids=["one core", "two"])
def test_ci_takes_a_left_out_test_for_a_failure(suite, monkeypatch, options):
    monkeypatch.setenv("CI", "true")
    result = suite(SUITE, options=options)
    assert result.ret == pytest.ExitCode.TESTS_FAILED
    result.stdout.fnmatch_lines(["CI=true: a left-out test is a failure."])


def test_ci_takes_a_module_left_out_for_a_failure(suite, monkeypatch):
    monkeypatch.setenv("CI", "true")
    result = suite(
        test_left="import pytest\npytest.importorskip('no_such_module_here')\n",
        test_runs="def test_runs():\n    pass\n",
    )
    assert result.ret == pytest.ExitCode.TESTS_FAILED
    result.stdout.fnmatch_lines(["1 test or module did not run: could not import*"])


def test_ci_accepts_what_is_no_part_of_the_repository(suite, monkeypatch):
    monkeypatch.setenv("CI", "true")
    result = suite(
        SUITE.replace("@pytest.mark.browser\n", "").replace("raise AssertionError(", "print(")
    )
    assert result.ret == pytest.ExitCode.OK
    result.stdout.fnmatch_lines(["*did not run: the shared inventory file is not*"])


def test_a_run_with_nothing_left_out_says_nothing(suite):
    result = suite("def test_runs():\n    pass\n")
    assert result.ret == pytest.ExitCode.OK
    result.stdout.no_fnmatch_line("*LEFT OUT*")


def test_a_chromium_may_be_named(monkeypatch, tmp_path):
    named = tmp_path / "chromium"
    named.touch()
    monkeypatch.setenv("CHROMIUM", str(named))
    assert find_chromium() == str(named)
    monkeypatch.setenv("CHROMIUM", str(tmp_path / "elsewhere"))
    assert find_chromium() is None


def test_only_listed_reasons_are_accepted():
    assert is_allowed("the bench instances are not on this machine")
    assert not is_allowed("it was slow")
