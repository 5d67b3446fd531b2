"""The desk in a browser on the demo order of 9,000,000 notes: how soon it is there, how soon it follows the hand.

A real `reelmark serve`, a real Chromium, a mouse that drags.  Times are taken in the page, from the end of the drag to
the frame in which every strip is drawn anew.  Then twenty readers at once, without a browser: each asks, thinks for a
second on average, and asks again.
"""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from random import Random
from statistics import median, quantiles
from time import perf_counter, sleep
from typing import Any
from urllib.parse import urlencode

import httpx2
from measure import Result, below, stated

FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync")  # fmt: skip
PASSPHRASE = "seven rolls of clear film"
SELECTIONS, ZOOMS, PAINTS, READERS, QUESTIONS = 80, 60, 9, 20, 25
THINKS = 1.0  # s between an answer and a reader's next question, on average


def web(works: Path) -> Iterator[Result]:
    """All of it; nothing where there is no Chromium."""
    if shutil.which("chromium") is None:
        print("… no chromium here: the desk in the browser is not measured", file=sys.stderr)
        return
    with _served(works) as (url, link):
        state = _come_in(url, link)
        yield from _in_browser(url, state)
        yield from _readers(url, state["cookies"][0]["value"])


@contextmanager
def _served(works: Path) -> Iterator[tuple[str, str]]:
    words = [sys.executable, "-m", "reelmark", "serve", str(works), "--port", "0", "--people", str(works / "bench.db")]
    env = os.environ | {"PYTHONUNBUFFERED": "1"}
    server = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=env)
    try:
        assert server.stdout is not None
        said = ""
        while "/join/" not in said:
            said += server.stdout.readline()
        found = re.search(r"(https?://[\w.:]+)/join/\S+", said)
        assert found is not None
        yield found.group(1), found.group(0)
    finally:
        server.terminate()
        server.wait(10)
        (works / "bench.db").unlink(missing_ok=True)


def _come_in(url: str, link: str) -> dict[str, Any]:
    with httpx2.Client(headers={"Origin": url}, follow_redirects=False, timeout=30) as client:
        client.post(link, data={"name": "A. Moss", "passphrase": PASSPHRASE, "again": PASSPHRASE})
        value = client.cookies["reelmark"]
    cookie = {"name": "reelmark", "value": value, "domain": "127.0.0.1", "path": "/", "expires": -1,
              "httpOnly": True, "secure": False, "sameSite": "Lax"}  # fmt: skip
    return {"cookies": [cookie], "origins": []}


def _in_browser(url: str, state: dict[str, Any]) -> Iterator[Result]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
        context = browser.new_context(viewport={"width": 1280, "height": 900}, storage_state=state)  # type: ignore[arg-type]
        page = context.new_page()
        yield _paint(page, f"{url}/orders/TM-20-1")
        yield from _select(page, Random(1))
        yield _zoom(page, Random(2))
        yield _most(page, f"{url}/orders/TM-20-1")
        yield from _memory(context, page)
        browser.close()


def _paint(page: Any, address: str) -> Result:
    took = []
    for _ in range(PAINTS):
        page.goto(address, wait_until="load")
        page.wait_for_timeout(300)
        took.append(page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
    note = f"first contentful paint, median of {PAINTS}; most {max(took):.0f} ms"
    return below("order page, first paint", median(took), "ms", 1000, note=note)


def _select(page: Any, rng: Random) -> Iterator[Result]:
    """Drags of any length anywhere on the strips of film, sheets and numbers."""
    turn, took = int(page.locator("#strips").get_attribute("data-turn") or 0), []
    for n in range(SELECTIONS):
        key = ("film.rolls", "coat.rolls", "sheet.piles", "numbering.piles", "finish.s0")[n % 5]
        hand = page.locator(f'.hand[data-key="{key}"]')
        hand.evaluate("hand => hand.scrollIntoView({block: 'center'})")
        box = hand.bounding_box()
        x, wide = box["x"] + rng.uniform(0.02, 0.9) * box["width"], rng.choice((0, 3, 12, 60))
        page.mouse.move(x, box["y"] + 16)
        page.mouse.down()
        page.mouse.move(x + wide, box["y"] + 20, steps=3)
        page.mouse.up()
        turn += 1
        page.locator(f'#strips[data-turn="{turn}"]').wait_for()
        took.append(float(page.locator("#strips").get_attribute("data-took")))
    late = quantiles(took, n=20)[-1]
    note = (
        f"{SELECTIONS} drags of 1 m, 1 sheet or up to 2.7 km, end of drag to all strips drawn; most {max(took):.0f} ms"
    )
    yield below("selection to all strips, median", median(took), "ms", 150, note=note)
    yield below("selection to all strips, 95 of 100 below", late, "ms", 300)


def _most(page: Any, address: str) -> Result:
    """The largest selection there is: every number of the order."""
    page.goto(f"{address}?of=F01@0-1m", wait_until="load")
    page.locator("#of").fill("series TM20")
    start = perf_counter()
    page.get_by_role("button", name="Take hold").click()
    page.wait_for_url("**of=series*", wait_until="load")
    return stated("all 9,000,000 numbers taken hold of, a page anew", 1000 * (perf_counter() - start), "ms")


def _zoom(page: Any, rng: Random) -> Result:
    hand, took = page.locator('.hand[data-key="film.rolls"]'), []
    hand.evaluate("hand => hand.scrollIntoView({block: 'center'})")
    hand.focus()
    box = hand.bounding_box()
    for n in range(ZOOMS):
        hand.evaluate("hand => { delete hand.dataset.took; }")
        page.mouse.move(box["x"] + rng.uniform(0.1, 0.9) * box["width"], box["y"] + 20)
        page.mouse.wheel(0, -120 if n % 20 < 12 else 120)
        page.locator('.hand[data-key="film.rolls"][data-took]').wait_for()
        took.append(float(hand.get_attribute("data-took")))
    note = f"a turn of the wheel to the strip drawn, median of {ZOOMS}; most {max(took):.0f} ms"
    return below("a zoom step", median(took), "ms", 100, note=note)


def _memory(context: Any, page: Any) -> Iterator[Result]:
    """After all of that: the page's script heap, and the renderer's own memory as the system counts it."""
    session = context.new_cdp_session(page)
    session.send("HeapProfiler.collectGarbage")
    heap = session.send("Runtime.getHeapUsage")["totalSize"] / 2**20
    yield below("memory of the page, script heap", heap, "MiB", 150)
    own = max((_own_memory(pid) for pid in _renderers()), default=0.0)
    yield below("memory of the page, its whole process", own, "MiB", 150, note="Private memory of the largest renderer")


def _renderers() -> Iterator[int]:
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                if b"--type=renderer" in (entry / "cmdline").read_bytes():
                    yield int(entry.name)
            except OSError:
                continue


def _own_memory(pid: int) -> float:
    text = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii")
    return sum(int(kb) for kb in re.findall(r"^Private_\w+:\s+(\d+) kB", text, re.M)) / 1024


# --- twenty readers --------------------------------------------------------------------------------------------------


def _question(rng: Random) -> str:
    """What a reader asks next: mostly a selection or a zoom, now and then a number, a page."""
    base, kind = "/orders/TM-20-1", rng.random()
    if kind < 0.5:
        start = rng.randrange(0, 6_000)
        of = f"F0{rng.choice((1, 2, 3, 5))}@{start}-{start + rng.choice((1, 3, 40))}m"
        return f"{base}/follow?{urlencode({'of': of})}"
    if kind < 0.75:
        start = rng.randrange(0, 30 * 10**9)
        return f"{base}/track/film.rolls?start={start}&stop={start + 10**9}"
    if kind < 0.9:
        return f"{base}/number/AA{rng.randrange(1, 9_000_000):07d}"
    return base + rng.choice(("", "/books", "/journal"))


def _reader(url: str, cookie: str, seed: int, thinks: float = THINKS) -> list[float]:
    rng, took = Random(seed), list[float]()
    with httpx2.Client(cookies={"reelmark": cookie}, timeout=60) as client:
        sleep(rng.uniform(0, thinks))
        for _ in range(QUESTIONS):
            address, start = url + _question(rng), perf_counter()
            answer = client.get(address, headers={"Accept": "text/html,application/json"})
            took.append(1000 * (perf_counter() - start))
            assert answer.status_code == 200, (address, answer.status_code)
            sleep(rng.expovariate(1) * thinks)
    return took


def _readers(url: str, cookie: str) -> Iterator[Result]:
    alone = _reader(url, cookie, 0)
    with ThreadPoolExecutor(READERS) as pool:
        every = [ms for one in pool.map(lambda n: _reader(url, cookie, n), range(1, READERS + 1)) for ms in one]
    late = quantiles(every, n=20)[-1]
    note = f"{READERS} readers, {len(every)} questions, {THINKS:g} s to think on average; median {median(every):.0f} ms"
    yield below("20 readers at once, 95 of 100 below", late, "ms", 500, note=note)
    yield stated("one reader alone, median", median(alone), "ms")
    with ThreadPoolExecutor(READERS) as pool:
        often = [ms for one in pool.map(lambda n: _reader(url, cookie, n, 0), range(101, 101 + READERS)) for ms in one]
    note = (
        f"nobody pauses: as much as the server gives, {1000 * READERS / (sum(often) / len(often)):.0f} answers a second"
    )
    yield stated("20 readers who never pause, 95 of 100 below", quantiles(often, n=20)[-1], "ms", note=note)
