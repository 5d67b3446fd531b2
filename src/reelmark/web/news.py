"""News for open pages: told from any thread, handed to every stream that listens."""

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

__all__ = ["News", "event"]

MOST = 256  # told and not yet taken by a page; a page so far behind is let go, and comes back by itself
QUIET = 15.0  # s, after which a sign of life is sent
LONGEST = 600.0  # s a stream lasts: the page comes back by itself, and its session is looked at anew


def event(what: str, data: dict[str, Any]) -> str:
    """One server-sent event."""
    return f"event: {what}\ndata: {json.dumps(data)}\n\n"


class News:
    """Who listens, and what they are told."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ears: set[asyncio.Queue[str | None]] = set()
        self._over = False

    def tell(self, what: str, data: dict[str, Any]) -> None:
        """To every page that listens; from any thread."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._hand_round, event(what, data))

    def _hand_round(self, text: str | None) -> None:
        for ear in list(self._ears):
            if ear.full():
                self._ears.discard(ear)
                ear.get_nowait()
                ear.put_nowait(None)
            else:
                ear.put_nowait(text)

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        self._over = True
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._hand_round, None)

    async def stream(self, first: str = "") -> AsyncIterator[str]:
        """What is told from now on, as server-sent events."""
        self._loop = asyncio.get_running_loop()
        ear: asyncio.Queue[str | None] = asyncio.Queue(MOST)
        self._ears.add(ear)
        try:
            yield f"retry: 2000\n\n{first}"
            end = self._loop.time() + LONGEST
            while not self._over and self._loop.time() < end:
                try:
                    text = await asyncio.wait_for(ear.get(), QUIET)
                except TimeoutError:
                    text = ": quiet\n\n"
                if text is None:
                    return
                yield text
        finally:
            self._ears.discard(ear)
