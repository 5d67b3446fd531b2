"""What the model minimises: lateness of the due lines, and the length of the plan."""

from ortools.sat.python import cp_model

from ..jobs import Due, JobShop
from .exact_alike import same_order, sorted_stages
from .exact_work import Cp, Expr, Work

__all__ = ["Term", "late_terms", "span_term"]

Term = tuple[float, cp_model.LinearExprT]  # price of a unit, and how many


def late_terms(cp: Cp, shop: JobShop, works: list[Work], horizon: int) -> list[Term]:
    """Units late of each due line that can be late and costs something."""
    out: list[Term] = []
    for due in shop.dues:
        price = shop.prices.late * due.weight * shop.hours
        if price and due.at < horizon:
            late = cp.new_int_var(0, horizon - min(0, due.at), "late")
            _not_before(cp, shop, works, due, late)
            out.append((price, late))
    return out


def _not_before(cp: Cp, shop: JobShop, works: list[Work], due: Due, late: cp_model.IntVar) -> None:
    """`late` is at least what the due's last batch is late."""
    job = shop.jobs[due.job]
    last = len(job.stages) - 1
    ends: list[Expr] = [works[shop.number(due.job, b, last)].end for b in range(job.batches)]
    if last in sorted_stages(shop, due.job) and same_order(shop, job.stages[last]):
        ends = ends[: due.batches]  # they end in order
    counted: list[cp_model.IntVar] = []
    for end in ends:
        rule = cp.add(late >= end - due.at)
        if due.batches < len(ends):
            counted.append(cp.new_bool_var(""))
            rule.only_enforce_if(counted[-1])
    if counted:
        cp.add(sum(counted) == due.batches)


def span_term(cp: Cp, shop: JobShop, works: list[Work], after: list[list[int]], horizon: int) -> list[Term]:
    """Units until everything has ended."""
    price = shop.prices.span * shop.hours
    if not price:
        return []
    span = cp.new_int_var(0, horizon, "span")
    for i, work in enumerate(works):
        if not after[i]:
            cp.add(span >= work.end)
    return [(price, span)]
