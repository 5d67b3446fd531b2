"""The plan on the command line: orders back to resin, the start that suffices, a shop out of a file.

`reelmark plan ORDER.toml…` is short for `reelmark plan orders ORDER.toml…`.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer
from typer.core import TyperGroup

from ..errors import BadValue
from .show import as_json, error, group, guarded, say, table

if TYPE_CHECKING:  # what plans is slow to load: only a command that plans waits for it
    from ..jobs import JobShop
    from ..order import Order
    from ..plan.solve import Progress

__all__ = ["app"]

AHEAD = 90  # days before the first delivery that a plan of the past begins
MOST_SECONDS = 86_400
RUNS = 2000  # of the works with chance in it: P(on time) to about a hundredth


class _OrFiles(TyperGroup):
    """A group whose first word may be a file: then `orders` is meant."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if args and args[0] not in self.commands and args[0] not in self.get_help_option_names(ctx):
            self._file(args[0])
            args = ["orders", *args]
        return super().parse_args(ctx, args)

    def _file(self, word: str) -> None:
        """Leaves with an error where the word can be no file of an order: a command misspelt."""
        from ..io.words import nearest

        if not word.startswith("-") and "." not in word and not Path(word).exists():
            error(BadValue("reelmark plan", word, "no such command or file", nearest(word, self.commands, "commands")))


app = group("Ahead: from the delivery dates back to resin, and how many to start.")
app.info.cls = _OrFiles
Json = Annotated[bool, typer.Option("--json", help="One JSON document, for machines.")]
Begins = Annotated[Optional[str], typer.Option(help="2026-04-01T06:00; now, or in time for orders of the past.")]  # noqa: UP045
Works = Annotated[Path, typer.Option("--works", "-w", help="A works.toml, or its folder.", envvar="REELMARK_WORKS")]


@app.command()
@guarded
def orders(
    files: Annotated[list[Path], typer.Argument(help="Orders, .toml.")],
    works: Works = Path(),
    seconds: Annotated[float, typer.Option(help="Time for the schedule; 0: only what the orders need.", min=0)] = 60,
    level: Annotated[float | None, typer.Option(help="Chance that it suffices; 0: no overs.")] = None,
    begins: Begins = None,
    days: Annotated[int, typer.Option(help="Days that calendars are written out for.", min=1, max=1098)] = 366,
    json: Json = False,
) -> None:
    """Orders planned backwards: sheets, web, rolls, resin, coat, ink, forms, hours and cost; then their schedule."""
    from ..acts.planning import plan_needs, plant_of, undelivered
    from ..io import read_order, read_works
    from ..plan.loading import checked, job_shop

    _not_for_ever(seconds)
    there = read_works(works / "works.toml" if works.is_dir() else works)
    plant = plant_of(there)
    read = [read_order(one) for one in files]
    start, note = _begin(begins, there.zone, read)
    wanted = checked(read, start, days)
    answer = plan_needs(wanted, plant, level) | {"notes": [*([note] if note else []), *undelivered(wanted)]}
    if seconds > 0:
        answer = _planned(job_shop(wanted, plant, start, days), start.tzinfo, seconds, answer, json)
    if json:
        as_json(answer)
        return
    say(*answer["notes"])
    for one in answer["orders"]:
        _show_order(one)
    _show_starts(answer["starts"])
    if "deliveries" in answer:
        _show_plan(answer)


def _not_for_ever(seconds: float) -> None:
    if seconds > MOST_SECONDS:
        true = f"a schedule takes {MOST_SECONDS:,} s at most"
        raise BadValue("--seconds", seconds, true, "give 60; the best plan so far is kept when the time is over")


def _planned(
    shop: "JobShop", zone: tzinfo | None, seconds: float, starts: dict[str, Any], quiet: bool
) -> dict[str, Any]:
    """The shop solved and tried against chance.  zone : of the works; dates are told by its clocks"""
    from ..acts.plan_answer import of_orders
    from ..plan.levers import levers
    from ..plan.planned import Planned
    from ..plan.risk import simulate

    progress = _solved(shop, seconds, quiet)
    begins = datetime.fromisoformat(shop.begins).astimezone(zone)
    planned = Planned(shop, progress.schedule, begins, progress.cost, progress.bound)
    outcome = simulate(shop, progress.schedule, runs=RUNS)
    return of_orders(planned, progress, starts, outcome, levers(shop, progress.schedule, runs=RUNS))


def _solved(shop: "JobShop", seconds: float, quiet: bool) -> "Progress":
    """The shop solved, each better plan told on the way; the bound is no distance from the best there is."""
    from ..planner import solve_shop

    def tell(one: "Progress") -> None:
        if not quiet:
            gap = f"{one.gap:.0%} above a lower bound of {one.bound:,.0f}"
            typer.echo(f"{one.seconds:6.1f} s  cost {one.cost:,.1f}, {gap}", err=True)

    return solve_shop(shop, seconds, tell=tell)


def _show_plan(answer: dict[str, Any]) -> None:
    head = f"cost {answer['objective']:,.1f}, {answer['gap']:.0%} above a lower bound of {answer['bound']:,.1f}"
    say("", f"Plan from {answer['begins']}: {head}; breaches {answer['violations']}", *answer["breaches"])
    rows = [[d["order"], d["due"], d["ready"], f"{d['p_on_time']:.0%}", d["says"]] for d in answer["deliveries"]]
    table("Deliveries", ["order", "due", "ready", "on time", "what to know"], rows)
    say(*answer["impossible"])
    risk = answer["risk"]
    rows = [[one["what"], f"{one['share']:.0%}"] for one in risk["start_now"]]
    table("Start now: on how many of the late deliveries it lies", ["what", "share"], rows)
    rows = [[one["what"], f"{100 * one['gain']:+.1f}", one["caution"]] for one in risk["levers"] if one["gain"] > 0]
    table("What would help: mean chance on time, in hundredths", ["what", "gain", "settle first"], rows)
    say(*risk["says"], "")
    say(f"{len(answer['tasks']):,} tasks: --json lists them, `reelmark serve` draws them")


def _begin(text: str | None, zone: str, orders: list["Order"]) -> tuple[datetime, str]:
    """When the plan begins, and what is to be said of it: orders all of the past are planned as if it were then."""
    now = _moment(text, zone)
    days = [date.fromisoformat(one.by) for order in orders for one in order.deliveries]
    if text is not None or not days or max(days) >= now.date():
        return now, ""
    then = datetime.combine(min(days) - timedelta(days=AHEAD), time(6), now.tzinfo)
    return (
        then,
        f"every delivery lies in the past: planned as if it were {then:%Y-%m-%d %H:%M}; --begins says otherwise",
    )


def _moment(text: str | None, zone: str) -> datetime:
    """A moment in the works' zone; now where none is given."""
    from ..plan.loading import begun
    from ..web.words import zone_of

    there = zone_of(zone)
    if text is None:
        return datetime.now(UTC).astimezone(there)
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadValue("--begins", text, "it is no moment", "write date and time, as 2026-04-01T06:00") from error
    begun(at)
    return at.astimezone(there) if at.tzinfo else at.replace(tzinfo=there)


def _show_order(one: dict[str, Any]) -> None:
    head = f"{one['order']}: {one['notes']:,} notes in {one['batches']} batches, {one['good_sheets']:,} good sheets"
    chance = f"enough with probability {one['probability']:.4f}"
    say("", f"{head}; planned for {one['planned_sheets']:,}, {one['overs_sheets']:,} over, {chance}")
    say(f"  at the very beginning {one['running_start']:,} sheets' worth of web, make-ready and samples beside it;")
    naive = f"{one['naive_start']:,}, enough with probability {one['naive_probability']:.3f}"
    say(f"  the naive division, good sheets over mean yield, would begin with {naive}")
    keys = ("into", "spoil", "samples", "make_ready", "returned", "out")
    table("Stages", ["stage", "in", *(key.replace("_", "-") for key in keys)],
          [[s["stage"], s["unit"], *(s[key] for key in keys)] for s in one["stages"]])  # fmt: skip


def _show_starts(starts: dict[str, Any]) -> None:
    flat = [[name.replace("_", " "), _figure(value)] for name, value in starts.items() if not isinstance(value, dict)]
    say("")
    table("Needed", ["what", "is"], flat)
    for name in ("machine_h", "forms", "cost"):
        table(name.replace("_", " ").capitalize(), ["what", "is"], [[k, _figure(v)] for k, v in starts[name].items()])


def _figure(value: float) -> str:
    return f"{value:,}" if isinstance(value, int) else f"{value:,.1f}"


@app.command("yield")
@guarded
def start(
    file: Annotated[Path, typer.Argument(help="[[stages]]: alpha and beta, mean and concentration, or past batches.")],
    order: Annotated[int, typer.Option(help="Good ones wanted.")],
    level: Annotated[float, typer.Option(help="Chance asked for, between 0 and 1.")] = 0.99,
    pile: Annotated[int, typer.Option(help="Starts come in whole piles, or rolls, of so many.")] = 1,
    json: Json = False,
) -> None:
    """How many to start so that enough come out good with the chance asked for."""
    from ..acts.planning import plan_yield
    from ..io.config import read_stages

    answer = plan_yield(read_stages(file), order, level, pile)
    if json:
        as_json(answer)
        return
    say(f"start {answer['start']:,}: {order:,} good with probability {answer['probability']:.6f}")
    say(f"  {answer['method']}, wrong by {answer['probability_error']:.1g} at most")
    say(f"  {answer['expected_surplus']:,.0f} more than ordered are to be expected")
    if pile > 1:
        say(f"  in whole piles {answer['rounded_start']:,}: probability {answer['rounded_probability']:.6f}")
    say(f"  order over mean yield {answer['naive_start']:,}: probability {answer['naive_probability']:.3f}")
    say(f"  as if batches were alike {answer['alike_start']:,}: probability {answer['alike_probability']:.3f}")
    table("Starts", ["probability", "start"], [[f"{100 * s['level']:g} %", s["start"]] for s in answer["starts"]])
    overs = {one["stage"]: one["overs"] for one in answer["spread_costs"]}
    rows = [[s["stage"], f"{s['mean']:.4f}", f"{s['sd']:.4f}", overs[s["stage"]]] for s in answer["stages"]]
    table("Stages", ["stage", "mean", "sd", "overs its spread costs"], rows)


@app.command()
@guarded
def shop(
    file: Annotated[Path, typer.Argument(help="A job shop in the standard text form, or .json.")],
    seconds: Annotated[float, typer.Option(help="Time for the schedule, a day at most.", min=0.1)] = 60,
    crewed: Annotated[bool, typer.Option("--crewed-set-ups", help="Set-ups only while the machine is open.")] = False,
    json: Json = False,
) -> None:
    """A job shop out of a file, scheduled."""
    from ..acts.plan_answer import of_shop
    from ..io.shopfile import read_shop

    _not_for_ever(seconds)
    shop = read_shop(file)
    if crewed:
        shop = replace(shop, setups_open=True)
    answer = of_shop(shop, _solved(shop, seconds, json))
    if json:
        as_json(answer)
        return
    proven = "proven" if answer["proven"] else f"{answer['gap']:.0%} above a lower bound of {answer['bound']:,.1f}"
    say(f"cost {answer['cost']:,.1f}, {proven}; violations {answer['violations']}", *answer["breaches"])
    late, setup, span = (f"{answer[key]:,.1f}" for key in ("late_weighted_h", "setup_h", "span_h"))
    say(f"  late {late} weighted h, set-ups {setup} h, span {span} h")
    rows = [[t["order"], t["batch"], t["stage"], t["machine"], t["start"], t["end"]] for t in answer["tasks"]]
    table("Tasks", ["order", "batch", "stage", "machine", "start", "end"], rows)
