"""The commands, by the names people use."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Optional

import typer

from . import coat, film, log, numbers, plan, serve, window
from .show import as_json, group, guarded, metres_of, say, table, watched

__all__ = ["app", "main"]

app = group("The thread of a polymer note works: from film roll to packs and back, and the books of it.")
app.add_typer(numbers.app, name="numbers")
app.add_typer(film.app, name="film")
app.add_typer(window.app, name="window")
app.add_typer(coat.app, name="coat")
app.add_typer(log.app, name="log")
app.add_typer(plan.app, name="plan")
app.command()(serve.serve)

Works = Annotated[Path, typer.Option("--works", "-w", help="The works' folder.", envvar="REELMARK_WORKS")]
Json = Annotated[bool, typer.Option("--json", help="One JSON document, for machines.")]
At = Annotated[Optional[int], typer.Option("--at", help="As it was known when the journal held so many entries.")]  # noqa: UP045


def main() -> None:
    """The program."""
    app()


@app.command()
@guarded
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make.")],
    order: Annotated[Optional[Path], typer.Option(help="An order.toml to begin with.")] = None,  # noqa: UP045
    works: Annotated[Optional[Path], typer.Option(help="A works.toml to begin with.")] = None,  # noqa: UP045
    json: Json = False,
) -> None:
    """Make a works folder: order, plant, an empty journal, and the key that seals it."""
    from ..desk import Desk

    texts = [one.read_text(encoding="utf-8") if one else None for one in (order, works)]
    with Desk.create(folder, *texts) as desk:
        made = {"works": str(folder), "order": desk.order.name, "origin": desk.works.origin}
    if json:
        as_json(made)
        return
    say(
        f"{folder}: order {made['order']}, journal sealed as {made['origin']}",
        "Next: correct order.toml and works.toml, then `reelmark take FILE…`.",
    )


@app.command()
@guarded
def take(
    files: Annotated[list[Path], typer.Argument(help="Shop records, .jsonl or .csv.")],
    works: Works = Path(),
    skip_bad: Annotated[
        bool, typer.Option("--skip-bad", help="Take the good lines; write the others beside the file.")
    ] = False,
    json: Json = False,
) -> None:
    """Take shop records into the journal; a file with a bad line is refused whole."""
    from ..desk import Desk
    from ..io import write_refused

    with Desk(works) as desk:
        every = desk.take(watched("taking", files, json), skip_bad)
        beside = [str(write_refused(Path(f), lines)) for f, lines in every.refused_lines.items()] if skip_bad else []
        refused = [
            {"file": f, "line": r.line, "field": r.field, "value": r.value, "cure": r.cure} for f, r in every.refused
        ]
        answer = {
            "taken": every.taken,
            "repeated": len(every.repeated),
            "refused": refused,
            "refused_lines_in": beside,
            "checkpoint": desk.checkpoint(),
        }
    if json:
        as_json(answer)
    else:
        say(f"{every.taken:,} taken, {len(every.repeated):,} sent before, {len(refused):,} refused")
        table(
            "Refused",
            ["file", "line", "field", "value", "why and cure"],
            [[r["file"], r["line"], r["field"], r["value"], r["cure"]] for r in refused],
        )
        say(*(f"refused lines are in {one}" for one in beside))
    if refused:
        raise typer.Exit(1)


@app.command()
@guarded
def trace(
    number: Annotated[str, typer.Argument(help="A number as printed.")],
    works: Works = Path(),
    at: At = None,
    json: Json = False,
) -> None:
    """A number's whole life: film, lane, metre, sheet, stations, marks, account."""
    from .. import acts
    from ..desk import Desk

    with Desk(works) as desk:
        answer = acts.life(desk.reading_at(at), number) | {"checkpoint": desk.checkpoint(at)}
    if json:
        as_json(answer)
        return
    say(f"{answer['number']} ({answer['series']}): {answer['account']}")
    say(
        *(f"  may be of   {metres_of(p)}" for p in answer["may"]),
        *(f"  surely of   {metres_of(p)}" for p in answer["must"]),
    )
    if sheet := answer["sheet"]:
        say(f"  sheet {sheet['from_top']:,} from the top of {sheet['unit']}, position {answer['position']}")
    if note := answer["note"]:
        say(
            *(
                f"  the note itself: {metres_of(p)}, {note['across_mm'][0]} to {note['across_mm'][1]} mm across"
                for p in note["film"]
            )
        )
    table(
        "Stations",
        ["entry", "station", "machine", "did", "at", "by", "sure"],
        [
            [s["entry"], s["station"], s["machine"], s["does"], s["at"], s["by"], "yes" if s["sure"] else "perhaps"]
            for s in answer["stations"]
        ],
    )
    table(
        "Marks",
        ["fault", "grade", "seen by", "sure"],
        [[m["fault"], m["grade"], m["seen_by"], "yes" if m["sure"] else "perhaps"] for m in answer["marks"]],
    )
    table("Faults of the numbering", ["what"], [[one] for one in answer["faults"]])
    _as_of(answer)


@app.command()
@guarded
def recall(
    unit: Annotated[str, typer.Argument(help="A roll or a pile.")],
    start: Annotated[
        str, typer.Option("--from", help='"5214 m" of a roll as wound; "120" sheets from the top of a pile.')
    ],
    stop: Annotated[str, typer.Option("--to", help="The end, not included.")],
    lane: Annotated[Optional[list[int]], typer.Option("--lane", help="A lane; again for more; all without it.")] = None,  # noqa: UP045
    works: Works = Path(),
    hold: Annotated[str, typer.Option("--hold", help="Hold them: the reason. Needs --by and --at-time.")] = "",
    by: Annotated[str, typer.Option("--by", help="Who holds them.")] = "",
    at_time: Annotated[str, typer.Option("--at-time", help="When, with its zone; now without it.")] = "",
    machine: Annotated[str, typer.Option("--desk", help="The machine the record is written under.")] = "office",
    at: At = None,
    json: Json = False,
) -> None:
    """The numbers that metres of film, or sheets of a pile, may and must have gone to."""
    from .. import acts
    from ..acts.recall import web_extent
    from ..desk import Desk

    with Desk(works) as desk:
        reading = desk.reading_at(at)
        web = unit in reading.shop.rolls
        reading.thread.known(unit)
        extent = web_extent(reading, unit, _place(start, web, "--from"), _place(stop, web, "--to"), lane)
        answer = acts.recall(reading, extent)
        if hold:
            answer["held"] = _hold(desk, extent, hold, by, at_time, machine)
        answer["checkpoint"] = desk.checkpoint(None if hold else at)
    if json:
        as_json(answer)
        return
    for name, words in (("may", "may be touched: recall these"), ("must", "surely touched: book these")):
        say(f"{answer[name]['count']:,} numbers {words}")
        table("", ["first", "last"], answer[name]["ranges"][:20])
        if len(answer[name]["ranges"]) > 20:
            say(f"… and {len(answer[name]['ranges']) - 20:,} ranges more; --json gives all")
    bare = answer["unnumbered"]
    table(
        "Sheets without a number",
        ["unit", "may", "must", "account"],
        [[w["unit"], w["sheets_may"], w["sheets_must"], w["account"]] for w in bare["where"]],
    )
    table("In which accounts (may)", ["account", "notes"], sorted(answer["accounts"].items()))
    _as_of(answer)


def _place(text: str, web: bool, field: str) -> int:
    """Um of web, or sheets of a pile."""
    from ..errors import BadValue
    from ..units import whole

    if web:
        return whole(text, "um", field=field)
    if not text.strip().isdecimal():
        raise BadValue(field, text, "a pile counts in sheets from the top", "give a whole number, as 120")
    return int(text)


def _hold(desk: "object", extent: "object", why: str, by: str, at_time: str, machine: str) -> int:
    from datetime import UTC, datetime

    from .. import acts
    from ..errors import BadValue

    if not by:
        raise BadValue("--by", by, "nobody is named", "name who holds them")
    may, _ = acts.forward_numbers(desk.reading, extent)  # type: ignore[attr-defined,arg-type]
    bodies = acts.withdraw(desk.reading, may, why)  # type: ignore[attr-defined]
    now = at_time or datetime.now(UTC).isoformat(timespec="seconds")
    return int(desk.post(bodies, machine, by, None, now))  # type: ignore[attr-defined]


@app.command()
@guarded
def balance(works: Works = Path(), at: At = None, json: Json = False) -> None:
    """Whether the books balance; if not, the two counts between which a difference arose."""
    from .. import acts
    from ..desk import Desk

    with Desk(works) as desk:
        answer = acts.balance(desk.reading_at(at)) | {"checkpoint": desk.checkpoint(at)}
    if json:
        as_json(answer)
        return
    say("balanced" if answer["balanced"] else "NOT balanced")
    for one in answer["differences"]:
        say(
            f"  {one['unit']}: {one['counted']:,} {one['measure']} counted, "
            f"{one['booked_low']:,} to {one['booked_high']:,} booked",
            f"    between {one['between'][0]} and {one['between'][1]}",
            *(f"    {event['text']}" for event in one["events"]),
        )
    for one in answer["settled"]:
        say(
            f"  settled: {one['unit']}, {one['counted']:,} {one['measure']} counted (entry {one['entry']}), "
            f"{one['booked_low']:,} to {one['booked_high']:,} booked; by {one['settled_by']}"
        )
    for one in answer["unsettled"]:
        say(f"  {one['unit']}: up to {one['most']:,} {one['measure']} not settled; count the pile")
    say(*(f"  {fault}" for fault in answer["faults"]))
    table("Accounts", ["account", "holds", "of"], [[a["account"], *_held(a)] for a in answer["accounts"]])
    _as_of(answer)


def _held(account: dict[str, object]) -> tuple[object, object]:
    many, measure = account["holds"], account["measure"]
    return (f"{many / 1e6:,.3f}", "m of web, lane by lane") if measure == "um" else (f"{many:,}", measure)  # type: ignore[operator]


@app.command()
@guarded
def findings(works: Works = Path(), at: At = None, json: Json = False) -> None:
    """What the records tell is wrong, each with its place."""
    from .. import acts
    from ..desk import Desk

    with Desk(works) as desk:
        found = acts.findings(desk.reading_at(at))
        answer = {
            "findings": [{"name": f.name, "entry": f.entry, **f.what} for f in found],
            "checkpoint": desk.checkpoint(at),
        }
    if json:
        as_json(answer)
        return
    table("Findings", ["what", "entry", "where"], [[f.name, f.entry, _said(f.what)] for f in found])
    _as_of(answer)


def _said(what: dict[str, object]) -> str:
    text = what.get("text")
    return text if isinstance(text, str) else ", ".join(f"{k} {v}" for k, v in what.items() if v is not None)


@app.command()
@guarded
def way(
    works: Annotated[
        Path | None, typer.Option("--works", "-w", help="Also the units of this works.", envvar="REELMARK_WORKS")
    ] = None,
    units: Annotated[bool, typer.Option("--units", help="Every roll and pile, and how long it is.")] = False,
    json: Json = False,
) -> None:
    """The way of the material, station by station; with --units the rolls and piles of a works."""
    from dataclasses import asdict

    from ..way import WAY

    answer: dict[str, list[dict[str, Any]]] = {"stations": [asdict(one) for one in WAY]}
    if units:
        answer["units"] = _units(works or Path())
    if json:
        as_json(answer)
        return
    table(
        "The way",
        ["station", "takes", "gives", "counts in", "does"],
        [[s.name, s.takes, s.gives, s.counts_in, s.does] for s in WAY],
    )
    if units:
        table(
            "Units",
            ["unit", "made by", "entry", "length"],
            [[u["unit"], u["made_by"], u["entry"], u["length"]] for u in answer["units"]],
        )


def _units(works: Path) -> list[dict[str, Any]]:
    from ..desk import Desk
    from ..units import metres

    with Desk(works) as desk:
        reading = desk.reading
        made = []
        for unit in reading.thread.length:
            low, high = reading.thread.lengths.sheets(unit)
            run = reading.thread.maker[unit]
            long = (
                metres(reading.shop.web_length[unit])
                if unit in reading.shop.rolls
                else f"{low:,} sheets"
                if low == high
                else f"{low:,} to {high:,} sheets"
            )
            made.append({"unit": unit, "made_by": f"{run.station}, {run.machine}", "entry": run.seq, "length": long})
    return made


@app.command()
@guarded
def doctor(works: Works = Path(), json: Json = False) -> None:
    """Whether this machine and this works are sound: versions, settings, the journal entry by entry, gaps."""
    from .health import checks

    found = checks(works)
    if json:
        as_json({"sound": all(one["sound"] for one in found), "checks": found})
    else:
        table(
            "Doctor",
            ["what", "sound", "found"],
            [[c["what"], "yes" if c["sound"] else "NO", c["found"]] for c in found],
        )
    if not all(one["sound"] for one in found):
        raise typer.Exit(1)


@app.command()
@guarded
def demo(
    folder: Annotated[
        Path, typer.Option("--dir", help="Where to leave the demo works; it must be new or empty.")
    ] = Path("demo-works"),
    records_only: Annotated[
        Path | None, typer.Option("--records-only", help="Only write order and shop records here.")
    ] = None,
    small: Annotated[bool, typer.Option("--small", help="A few hundred sheets instead of 9,000,000 notes.")] = False,
    seed: Annotated[int, typer.Option(help="Another history.")] = 1,
    json: Json = False,
) -> None:
    """A whole invented order, roll to packs, with troubles planted in its records, and what is found of them."""
    from .demo import run_demo, write_only

    if records_only is not None:
        write_only(records_only, small, seed, json)
        return
    run_demo(folder, small, seed, json)


def _as_of(answer: Mapping[str, Any]) -> None:
    seal = answer["checkpoint"]
    say(f"as of {seal['size']:,} entries, root {seal['root'][:16]}…")
