"""Plans as the desk keeps them: read when their file changed, made in the background, pinned by hand, given out.

    kept = PLANS.current(live)                      the plan of a works, None where there is none
    POST …/plan/again   …/plan/take-in   …/plan/pin   …/plan/unpin   …/plan/back   …/plan/JOB/stop

A plan is no record: it stands in `plans/current.json`, the one before it in `plans/before.json`.  It is worked out by a
thread of its own, so that nobody who writes the journal waits for it; one plan is worked out at a time.
"""

from datetime import UTC, datetime
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request
from fastapi import Path as InPath
from fastapi.responses import JSONResponse, RedirectResponse, Response

from ..acts.plan_pins import pinned, unpinned
from ..acts.plan_time import unit_at
from ..errors import Clash, NotThere
from ..plan.planned import Planned
from . import plancompare, planout
from .jobs import Job
from .page import Asked, AskedNow
from .planfiles import PLANS, Kept
from .planfollow import following, take_in
from .planout import plan_of
from .planwork import key_of, moment_of, plan_again, plan_on, running
from .roles import Role
from .sign import Needs
from .words import zone_of

__all__ = ["LEAST", "MOST", "PIN_SECONDS", "begins_at", "moment_of", "router"]

router = APIRouter(lifespan=following)
router.include_router(planout.router)
router.include_router(plancompare.router)
WRITES = [Depends(Needs(Role.WRITE))]
LEAST, MOST, PIN_SECONDS = 5, 300, 10
JobName = Annotated[str, InPath(max_length=64)]
Seconds = Annotated[int, Form(ge=LEAST, le=MOST)]
Moment = Annotated[str, Form(max_length=40)]
Number = Annotated[int, Form(ge=0, le=10**7)]
Name = Annotated[str, Form(max_length=128)]


def begins_at(asked: Asked) -> datetime:
    """When a plan begins if nobody says otherwise: now; the last entry's time where every delivery is over by then."""
    zone, now = zone_of(asked.live.works.zone), datetime.now(UTC)
    last = max((one.by for one in asked.live.order.deliveries), default="")
    if last and last < now.date().isoformat() and asked.now.reading.records:
        now = max(one.at for one in asked.now.reading.records[-50:])
    return now.astimezone(zone).replace(minute=0, second=0, microsecond=0)


def _free(asked: Asked) -> None:
    """Clash while a plan of this order is being made."""
    if job := running(asked):
        raise Clash("plan", job.title, f"{job.by} began it and it is {job.state}", "wait for it, or stop and keep")


def _answer(request: Request, asked: Asked, job: Job | None = None) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"job": job.id if job else None}, 202 if job else 200)
    return RedirectResponse(f"{quote(asked.base)}/plan", 303)


# ---- acts


@router.post("/orders/{order}/plan/again", dependencies=WRITES, summary="Plan the works", response_model=None)
def again(
    request: Request,
    asked: AskedNow,
    seconds: Seconds = 30,
    begins: Moment = "",
    also: Annotated[list[str] | None, Form(max_length=50)] = None,
) -> Response:
    """A new plan, from the orders and the plant as they are now; pins of the plan before are kept.  also : orders"""
    _free(asked)
    lives = [asked.live, *(asked.house.live(one[:128]) for one in also or () if one != asked.live.key)]
    at = moment_of(begins, asked.live, "begins") if begins else begins_at(asked)
    return _answer(request, asked, plan_again(asked, lives, at, seconds))


@router.post("/orders/{order}/plan/take-in", dependencies=WRITES, summary="Move the plan by what happened",
             response_model=None)  # fmt: skip
def taking_in(request: Request, asked: AskedNow) -> Response:
    """At once what the desk does by itself while it is served: the journal moves the plan."""
    _free(asked)
    return _answer(request, asked, take_in(asked.house, asked.live, asked.name))


@router.post("/orders/{order}/plan/pin", dependencies=WRITES, summary="Pin a task", response_model=None)
def pin(
    request: Request, asked: AskedNow, operation: Number, machine: Name, start: Moment, seconds: Seconds = PIN_SECONDS
) -> Response:
    """The task goes on that machine at that time or as soon after as it can; then the rest is planned anew."""
    _free(asked)
    kept = plan_of(asked.live)
    before = kept.planned
    unit = round(unit_at(before, moment_of(start, asked.live, "start")))
    return _improve(request, asked, kept, pinned(before, operation, _machine(before, machine), unit), seconds)


@router.post("/orders/{order}/plan/unpin", dependencies=WRITES, summary="Unpin a task", response_model=None)
def unpin(request: Request, asked: AskedNow, operation: Number, seconds: Seconds = PIN_SECONDS) -> Response:
    """The task is free again, and the plan is gone on with."""
    _free(asked)
    kept = plan_of(asked.live)
    return _improve(request, asked, kept, unpinned(kept.planned, operation), seconds)


@router.post("/orders/{order}/plan/back", dependencies=WRITES, summary="Take the plan before", response_model=None)
def back(request: Request, asked: AskedNow) -> Response:
    """The plan before this one becomes the plan; asked again, this one is."""
    _free(asked)
    PLANS.back(asked.live)
    return _answer(request, asked)


@router.post("/orders/{order}/plan/{job}/stop", dependencies=WRITES, summary="Stop planning and keep the best",
             response_model=None)  # fmt: skip
def stop(request: Request, asked: AskedNow, job: JobName) -> Response:
    """Ends a plan that is being made; the best so far is kept."""
    return _answer(request, asked, asked.house.jobs.cancel(key_of(asked.live), job))


def _machine(planned: Planned, name: str) -> int:
    names = [one.name for one in planned.shop.machines]
    if name not in names:
        raise NotThere("machine", name, f"the plan has {', '.join(names)}", "choose one of those")
    return names.index(name)


def _improve(request: Request, asked: Asked, kept: Kept, planned: Planned, seconds: int) -> Response:
    """The changed plan is shown at once, and a search goes on from it."""
    return _answer(request, asked, plan_on(asked, kept, planned, seconds))
