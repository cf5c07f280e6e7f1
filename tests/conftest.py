"""For every test: no example has a deadline; with --no-skips, a skipped test is a failure.

A shell starts what it runs in the background with Ctrl-C ignored, and programs under test would
inherit that: it is put right first.
"""

import signal
import sys
from collections.abc import Iterator

import pytest
from hypothesis import settings

signal.signal(signal.SIGINT, signal.default_int_handler)
settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")


@pytest.fixture(autouse=True)
def nothing_stays_open() -> Iterator[None]:
    """Close the stores that a test has made."""
    yield
    if "stored" in sys.modules:
        sys.modules["stored"].close_owned()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add --no-skips."""
    parser.addoption("--no-skips", action="store_true", help="a skipped test is a failure")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail the run if anything was skipped and that is not allowed."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if session.config.getoption("--no-skips") and reporter and reporter.stats.get("skipped"):
        reporter.write_line("skipped tests are failures here", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
