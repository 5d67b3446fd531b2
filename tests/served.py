"""The desk as people use it: `reelmark serve` as a process of its own, on a free port, and a real Chromium there."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
FIRST, SECOND = "H. Rudmere", "R. Thane"
PASSPHRASE = "seven rolls of clear film"


class Server:
    """A running `reelmark serve`.  link : the first person's, where nobody may come in yet."""

    def __init__(self, *folders: Path, port: int = 0, more: tuple[str, ...] = ()) -> None:
        words = [sys.executable, "-m", "reelmark", "serve", *map(str, folders), "--port", str(port), *more]
        env = os.environ | {"PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=env)
        self.said: list[str] = []
        self.url, self.link = self._until(r"at (https?://\S+)"), ""
        self._up()

    def _until(self, pattern: str) -> str:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line.rstrip())
            if found := re.search(pattern, line):
                return found.group(1)
        raise AssertionError("the server said only: " + "\n".join(self.said))

    def first_link(self) -> str:
        """The one-time link that the server printed."""
        return self._until(r"(https?://\S+/join/\S+)")

    def _up(self) -> None:
        for _ in range(200):
            with suppress(OSError):
                urlopen(f"{self.url}/health", timeout=5).read()
                return
            time.sleep(0.05)
        raise AssertionError("the server does not answer")

    def stop(self) -> float:
        """Told to stop as a service manager tells it; seconds it took."""
        began = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise
        took = time.monotonic() - began
        if self.process.stdout is not None:
            self.process.stdout.close()
        return took


@contextmanager
def chromium() -> Iterator[Any]:
    """A real browser; skipped where there is none."""
    sync = pytest.importorskip("playwright.sync_api", reason="missing component: playwright")
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("missing component: chromium")
    with sync.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def join(page: Any, link: str, name: str = FIRST) -> None:
    """Come in by a one-time link."""
    page.goto(link)
    page.get_by_label("Name").fill(name)
    for box in page.locator('input[type="password"]').all():
        box.fill(PASSPHRASE)
    page.locator("main button").click()
    page.wait_for_load_state()


def sign_in(page: Any, url: str, name: str = FIRST) -> None:
    """Come in by name and passphrase."""
    page.goto(f"{url}/sign-in")
    page.get_by_label("Name").fill(name)
    page.locator('input[type="password"]').fill(PASSPHRASE)
    page.locator("main button").click()
    page.wait_for_load_state()
