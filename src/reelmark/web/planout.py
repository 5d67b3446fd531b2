"""Plans given out: as a calendar, and how far one is that is being made.

GET  …/plan.ics     …/api/orders/ORDER/plan/jobs/JOB
"""

from datetime import datetime
from typing import Annotated, Any, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends, Path, Query
from fastapi.responses import Response

from ..acts.plan_view import campaigns, tasks
from ..errors import NotThere
from ..io.ical import Event, calendar
from .live import Live
from .page import AskedNow
from .planfiles import PLANS, Kept, turn_of
from .planwork import key_of
from .roles import Role
from .sign import Needs

__all__ = ["plan_of", "router"]

router = APIRouter()
READS = [Depends(Needs(Role.READ))]
JobName = Annotated[str, Path(max_length=64)]


def plan_of(live: Live) -> Kept:
    """The plan; NotThere where there is none."""
    kept = PLANS.current(live)
    if kept is None:
        raise NotThere("plan", live.key, "there is none yet", "plan again first, with the form on the page")
    return kept


@router.get("/api/orders/{order}/plan/jobs/{job}", dependencies=READS, summary="How far a plan is")
def told(asked: AskedNow, job: JobName) -> dict[str, Any]:
    """Its state, and cost, bound and gap of the best so far.  job : a page's own turn tells whether its plan is over"""
    if job.startswith("turn-"):
        return {"id": job, "state": "waiting" if turn_of(PLANS.current(asked.live)) == job else "done"}
    found = asked.house.jobs.get(key_of(asked.live), job)
    return {**found.told(), "result": found.result}


@router.get("/orders/{order}/plan.ics", dependencies=READS, summary="The plan as a calendar", response_model=None)
def ics(asked: AskedNow, each: Annotated[Literal["campaign", "task"], Query()] = "campaign") -> Response:
    """iCalendar: an entry a campaign (an order's stage on a machine without a change), or a task."""
    kept = plan_of(asked.live)
    text = calendar(events(kept, asked.live, each), f"Plan {', '.join(kept.orders) or asked.live.key}")
    heads = {"Content-Disposition": f'attachment; filename="plan-{each}s.ics"'}
    return Response(text, media_type="text/calendar; charset=utf-8", headers=heads)


def events(kept: Kept, live: Live, each: str) -> list[Event]:
    """Entries whose uid stays from plan to plan, and whose sequence counts the plans."""
    rows = campaigns(kept.planned) if each == "campaign" else tasks(kept.planned)
    place = live.works.origin.replace("/", ".")
    return [_event(row, kept, f"{each}.{place}") for row in rows]


def _event(row: dict[str, Any], kept: Kept, place: str) -> Event:
    which, batches = row.get("number", row.get("batch")), row.get("batches", row.get("batch"))
    what = f"{row['order']}, {row['stage']}"
    return Event(
        uid=f"{quote(row['order'])}.{quote(row['stage'])}.{which}@{place}",
        begins=datetime.fromisoformat(row["start"]), ends=datetime.fromisoformat(row["end"]),
        summary=f"{row['machine'] or 'no machine'}: {what}, batches {batches}", stamp=kept.at,
        description=f"Planned {kept.at:%Y-%m-%d %H:%M} UTC by {kept.by}. A plan, no record.",
        location=row["machine"], categories=(row["order"],), sequence=kept.revision,
    )  # fmt: skip
