"""What if: another plan beside the one that is, and a quote for a new order; nothing is kept unless one keeps it."""

from typing import Annotated, Any, Final

from fastapi import Query

from ...acts.plan_view import machine_name
from ...jobs import ANYWHERE
from ...plan.impossible import impossible_words
from ...plan.planned import Planned
from ..content import Action, Column, Content, Form, Part, Rows, Table
from ..page import Asked, AskedNow, Page
from ..plancompare import compare_key
from ..planfiles import PLANS, Kept
from ..roles import Role
from .plan_compare_forms import ask_forms
from .plan_tables import hours, percent

__all__ = ["PAGE"]

JobName = Annotated[str, Query(max_length=64)]


def build(asked: AskedNow, job: JobName = "") -> Content:
    """The last question that was answered.  job : another one"""
    kept = PLANS.current(asked.live) if asked.live.works.plant is not None else None
    if kept is None:
        empty = "No plan yet, so there is nothing to compare with. Plan the works first."
        return Content("What if", (empty,), (), (Action("Plan", f"{asked.base}/plan"),))
    jobs = asked.house.jobs.of(compare_key(asked.live))
    found = asked.house.jobs.get(compare_key(asked.live), job) if job else next(
        (one for one in jobs if isinstance(one.result, dict)), None)  # fmt: skip
    result = found.result if found and isinstance(found.result, dict) else None
    said = tuple(f"{one.title[:1].upper()}{one.title[1:]} came to nothing. {': '.join(one.fault[:2])}; {one.fault[2]}."
                 for one in jobs[:1] if one.fault)  # fmt: skip
    may = asked.may(Role.WRITE)
    parts: list[Part] = [*(_answer(asked, kept, found.id if found else "", result, may) if result else ()),
                         *(ask_forms(asked, kept) if may else ()),
                         *(_moved(result) if result else ())]  # fmt: skip
    extra = {"running": [one.told() for one in jobs if one.open], "may_stop": may, "opened": "Keep this plan",
             "turn": "", "place": "/plan/compare"}  # fmt: skip
    return Content("What if", (*said, *_lead(result, may)), tuple(parts), (Action("Plan", f"{asked.base}/plan"),),
                   template="plan.html", extra=extra)  # fmt: skip


def _lead(result: dict[str, Any] | None, may: bool) -> tuple[str, ...]:
    if result is None:
        ask = "Ask with a form below" if may else "To ask, a person needs the role write"
        return (f"Two plans side by side, or a quote for a new order. {ask}; the plan stays as it is.",)
    if "offer" in result:
        return (f"Quote for {result['words']}.", *(f"{one[:1].upper()}{one[1:]}." for one in result["offer"]["says"]))
    return (f"Now, and {result['words']}. The plan stays as it is unless this one is kept.",)


def _answer(asked: Asked, kept: Kept, job: str, result: dict[str, Any], may: bool) -> list[Part]:
    old = [] if result["base"].stamp == kept.stamp else ["The plan has changed since this was asked: ask again."]
    if "offer" in result:
        return [*old, *_quoted(result["offer"])]
    keep = Form("Keep this plan", f"{asked.base}/plan/compare/{job}/keep", (), "Keep this plan", "post",
                "It becomes the plan, and the plan that is can be taken back. works.toml and the orders stay as they "
                "are: change them too, or the next plan is made without it.")  # fmt: skip
    sides, other = result["sides"], result["planned"]
    return [*old, _dates(sides), *_impossible(other), _totals(sides, other), _load(sides),
            *([keep] if may and not old else ())]  # fmt: skip


def _dates(sides: dict[str, Any]) -> Table:
    rows: Rows = [[row["order"], row["delivery"], row["due"], *row["ready"], row["shift_h"], *row["late_h"]]
                  for row in sides["deliveries"]]  # fmt: skip
    columns = (Column("order"), Column("delivery", kind="figure"), Column("due", kind="time"),
               Column("ready now", kind="time"), Column("ready then", kind="time"), hours("later by"),
               hours("late now"), hours("late then"))  # fmt: skip
    return Table("dates", "Deliveries", columns, rows, "Neither plan has a delivery.", "Below 0: earlier.")


def _totals(sides: dict[str, Any], other: Planned) -> Table:
    named = (("cost", "cost", "money"), ("late", "late_h", "h"), ("set-up", "setup_h", "h"),
             ("the whole plan lasts", "span_h", "h"))  # fmt: skip
    rows: list[list[Any]] = [[words, unit, *sides[key], sides[key][1] - sides[key][0]] for words, key, unit in named]
    rows.append(["tasks elsewhere than now", "", 0, sides["moved"], sides["moved"]])
    columns = (Column("what"), Column("unit"), Column("now", kind="figure", places=1),
               Column("then", kind="figure", places=1), Column("more", kind="figure", places=1))  # fmt: skip
    note = f"Costs are each plan's own, breaches among them; then with {len(other.shop.operations):,} tasks."
    return Table("totals", "Cost and hours", columns, rows, note=note)


def _load(sides: dict[str, Any]) -> Table:
    rows: Rows = [[one["machine"], percent(one["before"]), percent(one["after"])] for one in sides["load"]]
    columns = (Column("machine"), Column("now", "%", "figure", 0), Column("then", "%", "figure", 0))
    return Table("loads", "Load", columns, rows, note="Share of the open time up to the last end of each plan.")


def _moved(result: dict[str, Any]) -> list[Part]:
    """By names, as the two plans may have other machines and orders."""
    if "offer" in result:
        return []
    was, now = _places(result["base"].planned), _places(result["planned"])
    rows: Rows = [[*key, *was.get(key, ("", None)), *now.get(key, ("", None))]
                  for key in sorted(was.keys() | now.keys()) if was.get(key) != now.get(key)]  # fmt: skip
    columns = (Column("order"), Column("batch", kind="figure"), Column("stage"), Column("machine now"),
               Column("start now", kind="time"), Column("machine then"), Column("start then", kind="time"))  # fmt: skip
    return [Table("moved", "Tasks that move", columns, rows, "No task moves.", most=20)]


def _places(planned: Planned) -> dict[tuple[str, int, str], tuple[str, str]]:
    shop, at = planned.shop, planned.schedule
    return {
        (shop.jobs[j].name, b + 1, shop.jobs[j].stages[s].name):
            (machine_name(shop, at.machine[i]) if at.machine[i] != ANYWHERE else "",
             planned.moment(at.start[i]).isoformat())
        for i, (j, b, s) in enumerate(shop.operations)
    }  # fmt: skip


def _impossible(other: Planned) -> list[Part]:
    lines = impossible_words(other.shop, other.begins)
    return [Table("impossible", "Impossible dates then", (Column("in words"),), [[one] for one in lines])] if lines \
        else []  # fmt: skip


def _quoted(offer: dict[str, Any]) -> list[Part]:
    head: Rows = [[offer["order"], offer["ready"], offer["not_before"], offer["added_cost"]]]
    columns = (Column("order"), Column("ready", kind="time"), Column("alone in the works not before", kind="time"),
               Column("cost more", "money", "figure", 0))  # fmt: skip
    rows: Rows = [[one["order"], one["delivery"], one["from"], one["to"], one["late_h"]] for one in offer["moves"]]
    more = (Column("order"), Column("delivery", kind="figure"), Column("ready now", kind="time"),
            Column("ready then", kind="time"), hours("late"))  # fmt: skip
    note = "The best place found, not the best there is. To put it in, ask for an order more with the same text."
    return [Table("quote", "Earliest date", columns, head, note=note),
            Table("moves", "Deliveries that would move", more, rows, "No promised delivery moves.")]  # fmt: skip


PAGE: Final = Page("/orders/{order}/plan/compare", "What if", build)
