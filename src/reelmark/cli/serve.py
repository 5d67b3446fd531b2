"""`reelmark serve`: the desk in a browser."""

import sys
from pathlib import Path
from typing import Annotated, Optional

import typer

from ..errors import BadValue
from .show import as_json, guarded, say

__all__ = ["serve"]


@guarded
def serve(
    folders: Annotated[Optional[list[Path]], typer.Argument(help="Works' folders, an order each.")] = None,  # noqa: UP045
    host: Annotated[str, typer.Option(help="Address to listen on; loopback is for this machine alone.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes a free one.")] = 8000,
    people: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="File of who may come in; people.db in the first folder without it."),
    ] = None,
    machine: Annotated[
        str, typer.Option("--desk", help="The machine that records made here are written under.")
    ] = "office",
    name: Annotated[
        list[str] | None, typer.Option(help="A host name under which it is reached; again for more.")
    ] = None,
    certificate: Annotated[Optional[Path], typer.Option(help="Certificate for https, PEM.")] = None,  # noqa: UP045
    key: Annotated[Optional[Path], typer.Option(help="The certificate's private key, PEM.")] = None,  # noqa: UP045
    json: Annotated[bool, typer.Option("--json", help="Where it serves, as one JSON document.")] = False,
) -> None:
    """The orders in a browser: strips, numbers, books, intake.  Stops with Ctrl-C."""
    from ..web.server import Served, is_loopback

    if (certificate is None) != (key is None):
        raise BadValue(
            "--certificate, --key", str(certificate or key), "https needs both files", "give both, or neither"
        )
    secure = (certificate, key) if certificate and key else None
    if not is_loopback(host) and secure is None:
        true = "without a certificate passphrases would cross the network in the clear"
        raise BadValue(
            "--host", host, true, "give --certificate and --key, or stay on 127.0.0.1 behind a proxy with one"
        )
    served = Served(
        folders or [Path()], host=host, port=port, people=people, machine=machine, names=name or (), certificate=secure
    )
    if json:
        as_json({"url": served.url, "orders": list(served.house.lives), "first_link": served.link})
    else:
        say(f"serving {', '.join(served.house.lives)} at {served.url} (stop with Ctrl-C)")
        if served.link:
            say("nobody may come in yet; the first person makes a passphrase here, once:", served.link)
    sys.stdout.flush()
    served.run()
