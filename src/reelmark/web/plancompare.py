"""What if, as acts: a question planned beside the plan, kept only when somebody says so; and a quote for a new order.

POST …/plan/compare/ask   …/plan/compare/JOB/stop   …/plan/compare/JOB/keep
"""

from dataclasses import replace
from functools import partial
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, File, Form, Path, Request, UploadFile
from fastapi.responses import JSONResponse, RedirectResponse, Response

from ..acts.plan_whatif import offer, side_by_side, what_if
from ..acts.planning import plant_of
from ..errors import BadValue, Clash, NotThere
from ..jobs import JobShop
from ..order import Order
from ..plan.deliveries import parent
from ..plan.loading import checked
from ..reading import Tell
from .jobs import Job
from .live import Live
from .page import Asked, AskedNow
from .planasks import ORDER_BYTES, Asks, What, order_of, orders_in, question
from .planfiles import PLANS, Kept
from .planout import plan_of
from .plansearch import Report, searching
from .plantold import told_of
from .planwork import begin, moment_of
from .roles import Role
from .sign import Needs

__all__ = ["LEAST", "MOST", "compare_key", "router"]

router = APIRouter()
WRITES = [Depends(Needs(Role.WRITE))]
JobName = Annotated[str, Path(max_length=64)]
Name = Annotated[str, Form(max_length=128)]
LEAST, MOST = 5, 120  # s of search
FROZEN_H: Final = 24.0  # from where the plan stands; what was to begin then stays


def compare_key(live: Live) -> str:
    """Under which the jobs of comparing are kept."""
    return f"{live.key} compare"


@router.post("/orders/{order}/plan/compare/ask", dependencies=WRITES, summary="Ask what if, or for a quote",
             response_model=None)  # fmt: skip
def ask(
    request: Request,
    asked: AskedNow,
    what: Annotated[What, Form()],
    machine: Name = "",
    change: Annotated[str, Form(pattern="^(more|less)$")] = "more",
    begins: Annotated[str, Form(max_length=40)] = "",
    hours: Annotated[float, Form(ge=0.5, le=24)] = 8.0,
    days: Annotated[int, Form(ge=1, le=7)] = 5,
    weeks: Annotated[str, Form(pattern="^(all|one)$")] = "all",
    taken_out: Name = "",
    stage: Name = "",
    percent: Annotated[float, Form(ge=-50, le=50)] = 1.0,
    text: Annotated[str, Form(max_length=ORDER_BYTES)] = "",
    file: Annotated[UploadFile | None, File()] = None,
    allowed: Annotated[float, Form(ge=0, le=10_000)] = 0.0,
    seconds: Annotated[int, Form(ge=LEAST, le=MOST)] = 10,
) -> Response:
    """Worked out by a job.

    begins, hours, days, weeks : a shift;  text, file : an order.toml;  allowed : h, of a quote
    """
    if any(one.open for one in asked.house.jobs.of(compare_key(asked.live))):
        raise Clash("what if", what, "another question is being worked out", "wait for it, or stop it")
    kept = plan_of(asked.live)
    at = moment_of(begins, asked.live, "begins") if what == "shift" else None
    asks = Asks(what, machine, change == "more", at, hours, days, weeks == "all", taken_out, stage, percent,
                _sent(file) or text)  # fmt: skip
    if what == "quote":
        order = order_of(asks)
        checked([*orders_in(asked.house, kept), order], kept.planned.begins, 1)
        return _begun(
            request, asked, f"quote for {order.name}", partial(_quote, asked.live, kept, order, allowed, seconds)
        )
    words, shop = question(asked.house, asked.live, kept, asks)
    return _begun(request, asked, f"what if: {words}", partial(_what_if, kept, shop, words, seconds))


def _sent(file: UploadFile | None) -> str:
    if file is None or not file.filename:
        return ""
    raw = file.file.read(ORDER_BYTES + 1)
    if len(raw) > ORDER_BYTES:
        raise BadValue("file", file.filename[:80], f"it is longer than {ORDER_BYTES:,} bytes", "send an order.toml")
    return raw.decode("utf-8", errors="replace")


def _begun(request: Request, asked: Asked, title: str, act: Any) -> Response:
    return _answer(request, asked, begin(asked.house, asked.live, title, asked.name, act, compare_key(asked.live)))


def _answer(request: Request, asked: Asked, job: Job | None) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"job": job.id if job else None}, 202)
    return RedirectResponse(f"{quote(asked.base)}/plan{'/compare' if job else ''}", 303)


@router.post("/orders/{order}/plan/compare/{job}/stop", dependencies=WRITES, summary="Stop comparing",
             response_model=None)  # fmt: skip
def stop(request: Request, asked: AskedNow, job: JobName) -> Response:
    """The best so far is shown."""
    return _answer(request, asked, asked.house.jobs.cancel(compare_key(asked.live), job))


@router.post("/orders/{order}/plan/compare/{job}/keep", dependencies=WRITES, summary="Keep the compared plan",
             response_model=None)  # fmt: skip
def keep(request: Request, asked: AskedNow, job: JobName) -> Response:
    """It becomes the plan, and the plan that is the one before; Clash where that has changed since."""
    found = asked.house.jobs.get(compare_key(asked.live), job).result
    if not isinstance(found, dict) or "planned" not in found:
        raise NotThere("plan", job, "nothing was planned by that question", "ask again, and keep what comes of it")
    kept, planned = found["base"], found["planned"]
    orders = list(dict.fromkeys(parent(one.name) for one in planned.shop.jobs))
    told = {**kept.told, "by": asked.name, "orders": orders, "moves": [], "by_hand": True} | told_of(planned)
    if not PLANS.write(asked.live, planned, told, kept.stamp):
        raise Clash("plan", found["words"], "the plan has changed since it was asked", "ask again")
    asked.house.news.tell("job", {"id": kept.turn, "state": "done"})
    return _answer(request, asked, None)


@router.get("/api/orders/{order}/plan/compare/jobs/{job}", dependencies=[Depends(Needs(Role.READ))],
            summary="How far a comparison is")  # fmt: skip
def told(asked: AskedNow, job: JobName) -> dict[str, Any]:
    """Its state."""
    return asked.house.jobs.get(compare_key(asked.live), job).told()


# ---- in the thread of the job


def _what_if(kept: Kept, shop: JobShop, words: str, seconds: int, _: Any, tell: Tell) -> dict[str, Any]:
    search = searching(Report(tell, seconds), seconds)
    other = what_if(kept.planned, shop, now=_now(kept), frozen_h=FROZEN_H, search=search)
    other = replace(other, says=(f"kept from a what if: {words}",))
    return {"words": words, "base": kept, "planned": other, "sides": side_by_side(kept.planned, other)}


def _quote(
    live: Live, kept: Kept, order: Order, allowed: float, seconds: int, _: Any, tell: Tell
) -> dict[str, Any]:  # fmt: skip
    search = searching(Report(tell, seconds), seconds)
    found = offer(kept.planned, order, plant_of(live.works), now=_now(kept), frozen_h=FROZEN_H, allowed_h=allowed,
                  search=search)  # fmt: skip
    return {"words": order.name, "base": kept, "offer": found}


def _now(kept: Kept) -> int:
    """The first unit of which the plan does not know what happened: what begins before has begun."""
    now = kept.told.get("now", -1)
    return now + 1 if isinstance(now, int) and 0 <= now + 1 < kept.planned.shop.horizon else 0
