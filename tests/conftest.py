"""Rules for every test: no time limits on examples, and outside tools looked up in one way.

With SEQUENCER_CI=1 a skipped test or module counts as a failure, whatever its reason says, unless the reason
begins with `NOT_HERE`: there every outside tool is installed, so a skip would hide one that is not.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Generator

import pytest
from hypothesis import settings

NOT_HERE = "not for this machine:"

settings.register_profile("house", deadline=None, print_blob=True)  # two shared cores: time says nothing
settings.load_profile("house")


@pytest.fixture(scope="session")
def outside_tool() -> Callable[[str], str]:
    """`outside_tool("avr-gcc")` is the tool's path; without the tool the test is skipped, or fails under CI."""

    def find(name: str) -> str:
        path = shutil.which(name)
        if path is None:
            pytest.skip(f"missing tool: {name}")
        return path

    return find


def _insist(report: pytest.TestReport | pytest.CollectReport) -> None:
    if os.environ.get("SEQUENCER_CI") != "1" or not report.skipped or hasattr(report, "wasxfail"):
        return
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    if reason.removeprefix("Skipped: ").startswith(NOT_HERE):
        return
    report.outcome = "failed"
    report.longrepr = f"skipped where nothing may be skipped (SEQUENCER_CI=1): {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    _insist(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    _insist(report)
    return report
