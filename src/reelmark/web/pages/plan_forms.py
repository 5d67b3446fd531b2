"""What can be done with a plan: made anew, a task pinned or freed, the plan before taken, a window chosen."""

from ...acts.plan_time import moment, name
from ...acts.plan_view import machine_name
from ...jobs import ANYWHERE
from ...plan.planned import Planned
from ..content import Field, Form
from ..page import Asked
from ..plans import LEAST, MOST, PIN_SECONDS, begins_at

__all__ = ["again_form", "back_form", "pin_form", "take_in_form", "unpin_forms", "window_form"]

CARE = (
    "A plan moves no machine. Before anybody reaches into one that the plan lets stand, it is locked off by whoever "
    "works on it."
)


def _seconds(value: int) -> Field:
    hint = f"{LEAST} to {MOST}; it can be stopped and the best kept"
    return Field("seconds", "Time for the search, s", "number", str(value), hint, required=True,
                 more={"min": str(LEAST), "max": str(MOST)})  # fmt: skip


def again_form(asked: Asked, title: str = "Plan again") -> Form:
    """Plan the works, with the other orders of the house that are made in the same works."""
    others = [one.key for one in asked.house.lives.values()
              if one.key != asked.live.key and one.works.name == asked.live.works.name]  # fmt: skip
    also = [Field("also", f"Plan {key} with it", "checkbox", more={"value": key}) for key in others[:1]]
    if len(others) > 1:
        also = [Field("also", "Plan with it", "select", choices=(("", "no other order"), *((k, k) for k in others)),
                      more={"multiple": ""})]  # fmt: skip
    begins = f"{begins_at(asked):%Y-%m-%dT%H:%M}"
    fields = (
        _seconds(30),
        Field("begins", "Begins", "text", begins, f"date and time in {asked.live.works.zone}, as {begins}"),
        *also,
    )
    says = "From the order and works.toml as they are now. Pins stay; the plan that is here now can be taken back."
    return Form(title, f"{asked.base}/plan/again", fields, "Plan", "post", says, CARE)


def take_in_form(asked: Asked) -> Form:
    """What the desk does by itself."""
    says = "What the journal says moves the plan, the smallest change first. While the desk is served it does this by "
    says += "itself, within seconds of an entry."
    return Form("Take in what happened", f"{asked.base}/plan/take-in", (), "Take it in", "post", says)


def pin_form(asked: Asked, planned: Planned, op: int | None) -> Form:
    """Keep a task on a machine and not before a time."""
    shop, at = planned.shop, planned.schedule
    able = range(len(shop.machines)) if op is None else [m for m, _ in shop.stage(op).on if m != ANYWHERE]
    machines = tuple((shop.machines[m].name, shop.machines[m].name) for m in able)
    there = "" if op is None else machine_name(shop, at.machine[op])
    start = "" if op is None else f"{moment(planned, at.start[op]):%Y-%m-%dT%H:%M}"
    what = "Choose a bar in the picture, or a task in the table; a bar can also be drawn to its place by hand."
    says = what if op is None else f"{name(shop, op)}."
    fields = (
        Field("operation", "Task", "number", "" if op is None else str(op), "its number in the table of tasks",
              required=True, more={"min": "0", "max": str(len(shop.operations) - 1)}),
        Field("machine", "On", "select", there, choices=machines),
        Field("start", "Not before", "text", start, f"date and time in {asked.live.works.zone}", required=True),
        _seconds(PIN_SECONDS),
    )  # fmt: skip
    return Form("Pin a task", f"{asked.base}/plan/pin", fields, "Pin and plan", "post", says)


def unpin_forms(asked: Asked, planned: Planned) -> list[Form]:
    """One form for all pins."""
    if not planned.pinned:
        return []
    choices = tuple((str(i), f"{name(planned.shop, i)}: {machine_name(planned.shop, m)}, not before "
                             f"{moment(planned, start):%Y-%m-%d %H:%M}") for i, m, start in planned.pinned)  # fmt: skip
    fields = (Field("operation", "Pinned", "select", choices=choices), _seconds(PIN_SECONDS))
    return [Form("Free a pinned task", f"{asked.base}/plan/unpin", fields, "Free and plan", "post")]


def back_form(asked: Asked) -> Form:
    """The plan before."""
    says = "The plan before this one becomes the plan again, and this one stays to be taken back in its turn. "
    says += "What happened since it was made is then taken in again."
    return Form("Take the plan before", f"{asked.base}/plan/back", (), "Take it back", "post", says)


def window_form(asked: Asked, planned: Planned, window: tuple[int, int]) -> Form:
    """Which stretch of time is shown."""
    since, until = (f"{moment(planned, unit):%Y-%m-%dT%H:%M}" for unit in window)
    hint = f"date and time in {asked.live.works.zone}"
    fields = (Field("since", "From", "text", since, hint), Field("until", "To", "text", until, hint))
    return Form("Show a stretch of time", f"{asked.base}/plan", fields, "Show")
