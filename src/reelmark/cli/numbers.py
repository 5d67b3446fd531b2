"""Numbers: plan them, set the boxes, and diagnose what was read."""

from pathlib import Path
from typing import Annotated, Any, Optional

import typer

from .show import as_json, group, guarded, say, table

__all__ = ["app"]

app = group("Numbering: the plan, the settings of the boxes, what the numbers read tell.")
Works = Annotated[Path, typer.Option("--works", "-w", help="The works' folder.", envvar="REELMARK_WORKS")]
Json = Annotated[bool, typer.Option("--json", help="One JSON document, for machines.")]
Series = Annotated[Optional[str], typer.Option("--series", help="The series; the order's first without it.")]  # noqa: UP045


def _series(desk: Any, series: str | None) -> tuple[str, Any]:
    name = series or desk.order.series[0].name
    desk.order.series_named(name)
    return name, desk.reading.shop.formats[name]


@app.command()
@guarded
def plan(
    works: Works = Path(),
    series: Series = None,
    first: Annotated[Optional[str], typer.Option(help="First number; the first free one without it.")] = None,  # noqa: UP045
    notes: Annotated[Optional[int], typer.Option(help="How many; the order's without it.")] = None,  # noqa: UP045
    block: Annotated[int, typer.Option(help="Numbers of a position before its next block; a multiple of 100.")] = 1000,
    json: Json = False,
) -> None:
    """How many sheets, packs and hand settings a run of numbers takes."""
    from .. import acts
    from ..desk import Desk

    with Desk(works) as desk:
        name, form = _series(desk, series)
        taken = desk.reading.shop.allocated.get(name)
        begin = first or form.text(taken.stop if taken else 0)
        answer = {
            "series": name,
            **acts.numbering_plan(desk.order, form, begin, desk.order.notes if notes is None else notes, block),
        }
    if json:
        as_json(answer)
        return
    table("Numbering plan", ["what", "is"], [[k.replace("_", " "), v] for k, v in answer.items()])


@app.command("set")
@guarded
def set_boxes(
    works: Works = Path(),
    series: Series = None,
    first: Annotated[
        str | None, typer.Option(help="First number of the run; of the first allocation without it.")
    ] = None,
    block: Annotated[int, typer.Option(help="Numbers of a position before its next block.")] = 1000,
    from_block: Annotated[int, typer.Option("--from-block", help="First block, counted from 0.")] = 0,
    blocks: Annotated[int, typer.Option(help="How many blocks.")] = 1,
    reversals: Annotated[
        int, typer.Option(help="How often the pile is turned over between numbering press and cutter.")
    ] = 0,
    labels: Annotated[
        bool, typer.Option("--labels", help="With check characters (ISO 7064 MOD 37,36) for the labels.")
    ] = False,
    json: Json = False,
) -> None:
    """What every numbering box is set to, position by position, and which way it must run."""
    from .. import acts
    from ..desk import Desk
    from ..errors import BadValue

    if from_block < 0 or blocks < 1 or reversals < 0:
        raise BadValue(
            "--from-block, --blocks, --reversals", (from_block, blocks, reversals), "too low", "from 0, 1 and 0 up"
        )
    with Desk(works) as desk:
        name, form = _series(desk, series)
        taken = desk.reading.shop.allocated.get(name)
        begin = first or form.text(taken.first if taken else 0)
        span = range(from_block, from_block + blocks)
        answer = {"series": name, **acts.box_settings(desk.order, form, begin, block, span, reversals, labels)}
    if json:
        as_json(answer)
        return
    say(
        f"series {answer['series']}, block {block:,}, boxes run {'down' if answer['descending'] else 'up'}",
        "Before a hand goes into the press: stop it, lock it, follow the works' own rules.",
    )
    heads = ["tick", "position", "row", "column", "set to", "step"] + (["label check"] if labels else [])
    table("Settings", heads, [list(one.values()) for one in answer["settings"]])


@app.command()
@guarded
def read(
    unit: Annotated[Optional[str], typer.Argument(help="A numbered pile; all without it.")] = None,  # noqa: UP045
    works: Works = Path(),
    json: Json = False,
) -> None:
    """What the numbers read tell: which box failed, since when, which numbers to withdraw."""
    from .. import acts
    from ..desk import Desk

    with Desk(works) as desk:
        answer = acts.read_diagnosis(desk.reading, unit) | {"checkpoint": desk.checkpoint()}
    if json:
        as_json(answer)
        return
    for one in answer["findings"]:
        say(
            f"{one['unit']}: {one['text']}",
            f"    sheets {one['last_sheet_from_top']:,} to {one['first_sheet_from_top']:,} from the top; "
            f"withdraw {_ranges(one['withdraw'])}",
        )
    for one in answer["directions"]:
        say(
            f"{one['unit']}: boxes ran {'down' if one['descending'] else 'up'}, "
            f"what was done to the pile asks {'down' if one['due'] else 'up'}"
        )
    if not answer["findings"] and not answer["directions"]:
        say("every number read is as planned")


def _ranges(ranges: list[list[str]]) -> str:
    shown = ", ".join(a if a == b else f"{a} to {b}" for a, b in ranges[:4])
    return (shown or "none") + (f" and {len(ranges) - 4} ranges more" if len(ranges) > 4 else "")
