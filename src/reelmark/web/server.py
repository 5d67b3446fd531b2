"""`reelmark serve`: the house on a port, and how it stops.

Plain http on loopback is for one machine.  On a works' network give a certificate, or a proxy that has one.
"""

import asyncio
import contextlib
import signal
import socket
import threading
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path
from types import FrameType
from typing import Any

import uvicorn

from ..errors import BadValue, Problem
from ..io.people import People
from .app import make_app
from .house import House
from .sign import first_link

__all__ = ["Served", "is_loopback", "watching"]

GRACE = 2  # s that open answers get when the server stops: an open stream would hold it for ever
LOOK = 1.0  # s between looks whether the command line has written


def is_loopback(host: str) -> bool:
    """Can nobody but this machine reach it?"""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@asynccontextmanager
async def watching(house: House) -> AsyncIterator[None]:
    """While the server runs, look whether somebody else has written."""

    async def look() -> None:
        while True:
            await asyncio.sleep(LOOK)
            for live in house.lives.values():
                with contextlib.suppress(Exception):  # a folder that cannot be read now may be again in a second
                    await asyncio.wrap_future(live.look())

    task = asyncio.create_task(look())
    try:
        yield
    finally:
        task.cancel()


class _Server(uvicorn.Server):
    """Ends the open streams as soon as it is told to stop."""

    def __init__(self, config: uvicorn.Config, house: House) -> None:
        super().__init__(config)
        self._house = house

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._house.stop()
        super().handle_exit(sig, frame)


class Served:
    """A house on a port.  Made: the port is taken and the first person's link is known; run: until it is stopped."""

    def __init__(
        self,
        folders: Sequence[Path],
        *,
        host: str = "127.0.0.1",
        port: int = 8000,
        people: Path | None = None,
        machine: str = "office",
        names: Sequence[str] = (),
        certificate: tuple[Path, Path] | None = None,
    ) -> None:
        for folder in folders:
            if not (folder / "journal.db").exists():
                raise Problem(f"works folder {folder}", "it has no journal", f"make one: reelmark new {folder}")
        self.socket = _taken(host, port)
        try:
            self.people = People.open(people or folders[0] / "people.db")
            self.house = House(folders, self.people, machine)
        except BaseException:
            self.socket.close()
            raise
        self.url = f"{'https' if certificate else 'http'}://{_shown(host, names)}:{self.socket.getsockname()[1]}"
        self.link = first_link(self.people, self.url, datetime.now(UTC))
        app = make_app(self.house, [host, "localhost", "127.0.0.1", *names], watching)
        secure: dict[str, Any] = {}
        if certificate:
            secure = {"ssl_certfile": str(certificate[0]), "ssl_keyfile": str(certificate[1])}
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, proxy_headers=False,
            timeout_graceful_shutdown=GRACE, lifespan="on", **secure,
        )  # fmt: skip
        self._server = _Server(config, self.house)

    def run(self) -> None:
        """Until SIGINT or SIGTERM, or stop."""
        if threading.current_thread() is threading.main_thread():
            # uvicorn raises it again at its end, and it would end us before the files are closed
            signal.signal(signal.SIGTERM, lambda *_: None)
        try:
            self._server.run(sockets=[self.socket])
        except KeyboardInterrupt:
            pass
        finally:
            self.house.close()
            self.socket.close()

    def stop(self) -> None:
        """From another thread."""
        self._server.handle_exit(signal.SIGTERM, None)


def _shown(host: str, names: Sequence[str]) -> str:
    """The name to reach it by: a name given, for an address that means every address is none to go to."""
    if names:
        return names[0]
    return f"[{host}]" if ":" in host else "localhost" if host == "0.0.0.0" else host  # noqa: S104  told, not bound


def _taken(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # named as TCP, so that answers are not held back for 40 ms to be sent together
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except (OSError, OverflowError) as error:
        listening.close()
        if isinstance(error, OverflowError):
            raise BadValue("port", port, "ports run from 0 to 65535", "give one of them; 0 takes a free one") from error
        cure = "stop the other program, or give another: --port 8001"
        raise Problem(f"serving on {host} port {port}", str(error.strerror or error), cure) from error
    return listening
