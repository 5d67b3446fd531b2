"""How answers are shown: JSON for machines, plain tables for people, errors in one form for both."""

import json
import sys
from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from typing import Any, NoReturn

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from ..errors import BadValue, Problem

__all__ = ["as_json", "error", "group", "guarded", "metres_of", "rests_on", "say", "short", "table", "watched"]

out = Console(highlight=False, markup=False, soft_wrap=True)


def as_json(answer: Any) -> None:
    """The answer as one JSON document."""
    sys.stdout.write(json.dumps(answer, ensure_ascii=False, allow_nan=False) + "\n")


def say(*lines: str) -> None:
    """Plain lines."""
    for line in lines:
        out.print(Text(line))


def table(title: str, heads: Sequence[str], rows: Iterable[Sequence[Any]], empty: str = "none") -> None:
    """A table with thin rules; numbers to the right."""
    rows = list(rows)
    if not rows:
        say(f"{title}: {empty}")
        return
    made = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False)
    for i, head in enumerate(heads):
        numeric = all(isinstance(row[i], int | float) or row[i] is None for row in rows)
        made.add_column(head, justify="right" if numeric else "left", overflow="fold")
    for row in rows:
        made.add_row(*(_cell(cell) for cell in row))
    out.print(made)


def _cell(cell: Any) -> str:
    if cell is None:
        return "–"
    return f"{cell:,}" if isinstance(cell, int) and not isinstance(cell, bool) else str(cell)


def short(value: Any) -> Any:
    """A figure to six digits; whatever is none as it is."""
    return f"{value:.6g}" if isinstance(value, float) else value


def rests_on(answer: dict[str, Any]) -> None:
    """What a station's figures rest on: notes by block, values that nobody read, the usual cautions."""
    for block, notes in answer["notes"].items():
        say(*(f"{block}: {note}" for note in notes))
    table(
        "It rests on values that were read nowhere; put your own in their place",
        ["value", "is", "unit", "source"],
        [[one["name"], short(one["value"]), one["unit"], one["source"]] for one in answer["from_memory"]],
    )
    say("", *(f"Caution: {one}" for one in answer["cautions"]))


def metres_of(place: dict[str, Any]) -> str:
    """A stretch of web in words."""
    return f"{place['unit']}, lane {place['lane']}: {place['from_m']:.3f} to {place['to_m']:.3f} m"


def error(problem: Exception) -> NoReturn:
    """Say what is wrong and leave with 1; as JSON where JSON was asked."""
    if "--json" in sys.argv:
        said: dict[str, Any] = {"error": str(problem)}
        if isinstance(problem, Problem):
            said |= {"asked": problem.asked, "true": problem.true, "cure": problem.cure}
        if isinstance(problem, BadValue):
            said |= {"field": problem.field, "value": str(problem.value)}
        as_json(said)
    else:
        Console(stderr=True, highlight=False, markup=False, soft_wrap=True).print(Text(f"reelmark: {problem}"))
    raise typer.Exit(1)


def group(help: str) -> typer.Typer:
    """Commands under one name, with help as plain text and errors as they are told here."""
    return typer.Typer(
        help=help, no_args_is_help=True, rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=False
    )


def guarded(command: Callable[..., None]) -> Callable[..., None]:
    """A command whose problems are told in one line, never as a traceback."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        from ..reading import Refused

        try:
            command(*args, **kwargs)
        except (Problem, Refused, OSError) as problem:
            error(problem)

    return run


def watched(what: str, things: Iterable[Any], quiet: bool) -> Iterable[Any]:
    """The things, with a progress bar when a person looks."""
    from rich.progress import track

    return track(list(things), description=what, disable=quiet or not out.is_terminal, console=out)
