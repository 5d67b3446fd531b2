"""What all tests share: where a component is missing, a test skips here and fails in CI.

A test that needs PostgreSQL, a browser or a broker skips with a reason that begins "missing component".  That is
right on a desk and wrong in CI, where a skip would pass for a green run.
"""

import os
from collections.abc import Generator

import pytest

REASON = "missing component"


def _fail_in_ci(report: pytest.CollectReport | pytest.TestReport) -> None:
    """Turn a skip for a missing component into a failure where CI is set."""
    reason = str(report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr)
    if os.environ.get("CI") and report.skipped and reason.removeprefix("Skipped: ").startswith(REASON):
        report.outcome = "failed"
        report.longrepr = f"{reason}: CI must have it; let .ci/run install it"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    _fail_in_ci(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    _fail_in_ci(report)
    return report
