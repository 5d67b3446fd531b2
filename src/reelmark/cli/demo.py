"""The demo: simulate, take the records, find the troubles from them alone, and only then look at the truth."""

from datetime import datetime
from pathlib import Path
from time import perf_counter
from typing import Any

from ..errors import Problem
from .show import as_json, say, table, watched

__all__ = ["run_demo", "write_only"]


def write_only(folder: Path, small: bool, seed: int, json: bool) -> None:
    """Order and shop records, and nothing solved."""
    from ..demo import FULL, SMALL, simulate, write_records

    _empty(folder)
    sim = simulate(SMALL if small else FULL, seed)
    write_records(sim, folder)
    _photographed(sim, folder, json)
    answer = {"dir": str(folder), "shifts": len(sim.records), "records": sum(map(len, sim.records))}
    answer["gauge_files"] = len(sim.film)
    answer["frame_folders"] = len(sim.windows)
    if json:
        as_json(answer)
    else:
        say(
            f"{folder}: order.toml, works.toml, {answer['records']:,} records of {answer['shifts']} shifts, "
            f"gauge records of {answer['gauge_files']} rolls, a camera's frames of {answer['frame_folders']}",
            "judge/ is for judging only",
        )


def _empty(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Problem(
            f"demo in {folder}", "there is something there already", "choose a new or empty folder, or remove it"
        )


def run_demo(folder: Path, small: bool, seed: int, json: bool) -> None:
    """The whole main job on one order."""
    from ..demo import FULL, SMALL, simulate, write_records
    from ..demo.filmjudge import film_found, film_judged
    from ..demo.judge import judged, laws
    from ..demo.windowjudge import windows_found, windows_judged
    from ..desk import Desk

    start = perf_counter()
    _empty(folder)
    sim = simulate(SMALL if small else FULL, seed)
    write_records(sim, folder)
    _photographed(sim, folder, json)
    marks, rolls = film_found(watched("reading the gauge", sorted((folder / "gauge").glob("*.parquet")), json))
    frames = sorted((folder / "frames").glob("*"))
    seen = windows_found(watched("looking at the windows", frames, json), folder / "windows")
    with Desk.create(folder) as desk:
        taken = desk.take(watched("taking the shifts", sorted((folder / "records").glob("*.jsonl")), json))
        troubles = judged(sim, desk, taken) + film_judged(sim.film, marks)
        troubles += windows_judged(sim.windows, seen, desk.reading)
        laws_held = laws(sim, desk)
        held = _withdrawn(desk, troubles)
        _marked(desk, marks)
        windows, law = _windows(desk, sim, seen)
        laws_held += law
        answer = _answer(desk, sim, troubles, laws_held, held) | {"taken": taken.taken, "repeated": len(taken.repeated)}
        answer["plan"] = _planned(desk, folder)
    answer |= {"gauge": rolls, "windows": windows}
    answer |= {"seconds": round(perf_counter() - start, 2), "works": str(folder)}
    if json:
        as_json(answer)
    else:
        _told(answer, sim)
    if not (answer["laws_held"] and answer["balanced"] and all(one["agrees"] for one in troubles)):
        raise Problem("demo", "a law or a trouble was not held or found", "see the lines above")


def _withdrawn(desk: Any, troubles: list[dict[str, Any]]) -> int:
    """Numbers a box printed wrongly go out of good, with the finding as the reason; how many notes."""
    from .. import acts
    from ..spans import EMPTY, Spans

    many = 0
    for one in troubles:
        numbers: dict[str, Spans] = {}
        for first, last in (one["found"] or {}).get("withdraw", ()):
            series, index = acts.number_of(desk.reading, first)
            numbers[series] = numbers.get(series, EMPTY) | Spans.of((index, acts.number_of(desk.reading, last)[1] + 1))
        bodies = acts.withdraw(desk.reading, numbers, f"{one['name']}: {one['found'].get('unit')}") if numbers else []
        if bodies:
            desk.post(bodies, "office", "R. Tessel", None, _after(desk))
            many += sum(spans.size for spans in numbers.values())
    return many


def _marked(desk: Any, marks: list[dict[str, Any]]) -> None:
    """Each pressure drop that the gauge shows becomes a mark on its roll, all lanes, to be followed on the strips."""
    from ..acts.gauge import Across, gauge_marks

    drops = [one for one in marks if one["name"] == "pressure drop"]
    bodies = []
    for one in drops:
        mark = one["what"] | {"kind": one["name"], "grade": "note"}
        bodies += gauge_marks(desk.reading, mark["roll"], [mark], Across(mark["from_mm"], mark["to_mm"]))
    if bodies:
        desk.post(bodies, "office", "R. Tessel", None, _after(desk))


def _photographed(sim: Any, folder: Path, json: bool) -> None:
    """The camera's frames over the windows, a folder a roll."""
    from ..demo.windowline import write_frames

    for roll in watched("taking the frames", sim.windows, json):
        write_frames(roll, folder / "frames" / roll.name)


def _windows(desk: Any, sim: Any, seen: list[Any]) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The camera's marks posted, and each followed to sheets and numbers; the law that these hold the truth."""
    from ..demo.windowtrace import followed, keep, law, mark_bodies

    marks, rolls = [], []
    for read in seen:
        keep(desk.reading, read, desk.folder / "windows", datetime.fromisoformat(_after(desk)))
        first = desk.reading.size
        bodies = mark_bodies(desk.reading, read)
        if bodies:
            desk.post(bodies, "office", "R. Tessel", None, _after(desk))
        marks += followed(desk.reading, read, range(first, first + len(bodies)))
        count = {name: read.answer[name] for name in ("expected", "seen", "missing", "not_seen", "closes")}
        rolls.append({"roll": read.roll, "lane": read.lane, **count, "marks": len(bodies)})
    return {"rolls": rolls, "marks": marks}, [law(sim, desk.reading, marks)] if sim.windows else []


def _after(desk: Any) -> str:
    """A minute after the last record of all."""
    from datetime import timedelta

    return str((max(one.at for one in desk.records) + timedelta(minutes=1)).isoformat())


def _planned(desk: Any, folder: Path) -> dict[str, Any]:
    """The order planned, and the plan moved by faults on the film; the last plan lies in the works' folder."""
    from ..acts.plan_kept import to_dict
    from ..acts.planning import plant_of
    from ..demo.planning import plan_story
    from ..io.planfile import write_plan

    reading = desk.reading
    story = plan_story(reading, plant_of(reading.works))
    told = {
        "at": story.told["now"],
        "by": "demo",
        "orders": [reading.order.name],
        "revision": 1,
        "entries": reading.size,
    }
    write_plan(folder, "current", to_dict(story.planned) | {"told": told})
    return story.told


def _answer(desk: Any, sim: Any, troubles: list[Any], laws_held: list[dict[str, Any]], held: int) -> dict[str, Any]:
    from .. import acts

    books = acts.balance(desk.reading)
    accounts = {a["account"]: a["holds"] for a in books["accounts"] if a["measure"] == "notes"}
    return {
        "notes": accounts.get("packed:good", 0) + accounts.get("packed:held", 0),
        "ordered": sim.order.notes,
        "laws_held": all(one["held"] for one in laws_held),
        "laws": laws_held,
        "troubles": troubles,
        "balanced": books["balanced"],
        "notes_held": held,
        "accounts": books["accounts"],
        "checkpoint": desk.checkpoint(),
    }


def _told(answer: dict[str, Any], sim: Any) -> None:
    say(
        f"{sim.order.name} for {sim.order.issuer}: {answer['notes']:,} notes in packs of {answer['ordered']:,} ordered",
        "",
    )
    table(
        "Laws",
        ["law", "held", "checked on"],
        [[one["law"], "yes" if one["held"] else "NO", one["checked"]] for one in answer["laws"]],
    )
    table(
        "Troubles: planted, and found from the records alone",
        ["trouble", "planted", "found", "agrees"],
        [
            [one["name"], _short(one["planted"]), _short(one["found"]), "yes" if one["agrees"] else "NO"]
            for one in answer["troubles"]
        ],
    )
    table(
        "The film line's gauge: rolls read from its records alone",
        ["roll", "metres", "passes", "mean, um", "marks", "note"],
        [
            [one["roll"], f"{one['to_m']:,.1f}", one["passes"], one["mean_um"], one["marks"], one["note"]]
            for one in answer["gauge"]
        ],
    )
    _windows_told(answer["windows"])
    table(
        "Accounts",
        ["account", "holds", "of"],
        [
            [
                a["account"],
                f"{a['holds'] / 1e6:,.3f}" if a["measure"] == "um" else f"{a['holds']:,}",
                "m of web, lane by lane" if a["measure"] == "um" else a["measure"],
            ]
            for a in answer["accounts"]
        ],
    )
    say("", f"The plan, {answer['plan']['now']}: what the gauge's marks do to the dates")
    for one in answer["plan"]["faults"]:
        say(*(f"  {line}" for line in one["says"]), f"  ({one['seconds']} s after the mark)")
    say(
        "",
        f"{'balanced' if answer['balanced'] else 'NOT balanced'}; "
        f"{answer['notes_held']:,} packed notes held for the faults found",
        f"journal of {answer['checkpoint']['size']:,} entries, root {answer['checkpoint']['root'][:16]}…, "
        f"{answer['seconds']} s",
        f"look further: reelmark trace AA0004001 --works {answer['works']}",
    )


def _windows_told(windows: dict[str, Any]) -> None:
    """The count, and each mark with the notes that it may be on."""
    for one in windows["rolls"]:
        sums = " + ".join(f"{one[what]:,} {what.replace('_', ' ')}" for what in ("seen", "missing", "not_seen"))
        closes = "it closes" if one["closes"] else "IT DOES NOT CLOSE"
        say("", f"Windows of {one['roll']}, lane {one['lane']}: {one['expected']:,} expected = {sums}; {closes}")
    for one in windows["marks"]:
        say(f"  {_mark_told(one)}")


def _mark_told(one: dict[str, Any]) -> str:
    """window missing at 62.4 m of F02c, lane 2 column 3 row 5 -> sheets, numbers."""
    named = f"{one['kind']} in the coat" if one["row"] is None else f"window {one['kind']}"
    row = f" row {one['row']}" if one["row"] else ""
    end = f" to {one['to_m']:,.2f}" if one["to_m"] != one["metre_m"] else ""
    sheets = ", ".join(f"{s['unit']} {s['from']}-{s['to']}" for s in one["sheets"]) or "none: it went to waste"
    told = [f"{word} {_range(one['notes'][name])}" for name, word in (("may", "may be on"), ("must", "is surely on"))
            if one["notes"][name]["count"]]  # fmt: skip
    return (f"{named} at {one['metre_m']:,.2f}{end} m of {one['roll']}, lane {one['lane']} column {one['column']}{row}"
            f" → sheets {sheets}; {'; '.join(told) or 'no numbered note'}")  # fmt: skip


def _range(notes: dict[str, Any]) -> str:
    """First and last of the numbers, and how many they are."""
    ranges = notes["ranges"]
    if len(ranges) == 1:
        (first, last), many = ranges[0], notes["count"]
        return first if many == 1 else f"{first} to {last} ({many})"
    return f"{notes['count']:,} notes in {len(ranges)} runs from {ranges[0][0]} to {ranges[-1][1]}"


def _short(what: dict[str, Any] | None) -> str:
    if what is None:
        return "not found"
    left_out = {"machine", "seq", "text", "since", "booked", "booked_low", "booked_high", "count_low", "count_high"}
    return ", ".join(f"{k} {v}" for k, v in what.items() if k not in left_out and v is not None)
