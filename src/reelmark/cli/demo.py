"""The demo: simulate, take the records, find the troubles from them alone, and only then look at the truth."""

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
    answer = {"dir": str(folder), "shifts": len(sim.records), "records": sum(map(len, sim.records))}
    answer["gauge_files"] = len(sim.film)
    if json:
        as_json(answer)
    else:
        say(
            f"{folder}: order.toml, works.toml, {answer['records']:,} records of {answer['shifts']} shifts, "
            f"gauge records of {answer['gauge_files']} rolls",
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
    from ..desk import Desk

    start = perf_counter()
    _empty(folder)
    sim = simulate(SMALL if small else FULL, seed)
    write_records(sim, folder)
    marks, rolls = film_found(watched("reading the gauge", sorted((folder / "gauge").glob("*.parquet")), json))
    with Desk.create(folder) as desk:
        taken = desk.take(watched("taking the shifts", sorted((folder / "records").glob("*.jsonl")), json))
        troubles = judged(sim, desk, taken) + film_judged(sim.film, marks)
        laws_held = laws(sim, desk)
        held = _withdrawn(desk, troubles)
        _marked(desk, marks)
        answer = _answer(desk, sim, troubles, laws_held, held) | {"taken": taken.taken, "repeated": len(taken.repeated)}
        answer["plan"] = _planned(desk, folder)
    answer["gauge"] = rolls
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


def _short(what: dict[str, Any] | None) -> str:
    if what is None:
        return "not found"
    left_out = {"machine", "seq", "text", "since", "booked", "booked_low", "booked_high", "count_low", "count_high"}
    return ", ".join(f"{k} {v}" for k, v in what.items() if k not in left_out and v is not None)
