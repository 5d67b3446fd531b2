"""Where runs break what the plan kept: longest waits, and places in the store.  Neither stops work here; both count."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..jobs import JobShop
from .carried import Times
from .network import Network

__all__ = ["Breach", "Broken", "breaches", "broken"]

Floats = NDArray[np.float64]
HAIR = 1e-6  # units


@dataclass(frozen=True, slots=True)
class Breach:
    """One limit that runs break.

    what : in words;  share : of the runs that break it
    hours : mean over those runs of the hours beyond, summed over batches (store: hours that batches lack a place)
    most : mean over those runs of the worst: hours of one batch (wait), batches beyond the places (store)
    """

    what: str
    share: float
    hours: float
    most: float


Broken = dict[str, tuple[Floats, Floats]]  # what -> (units beyond, the worst), each (runs,)


def broken(shop: JobShop, net: Network, times: Times) -> Broken:
    """What each of these runs breaks, by how much."""
    out: Broken = {}
    for step in net.steps:
        for p, _ in step.before:
            most = shop.stage(p).most_wait
            if most is not None and p not in net.progress.stock:
                over = times.start[step.number] - times.end[p] - most
                over[over < HAIR] = 0.0
                total, worst = out.setdefault(_wait(shop, p), (np.zeros(over.size), np.zeros(over.size)))
                total += over
                np.maximum(worst, over, out=worst)
    if shop.store is not None:
        out["places in the store"] = _crowd(shop, net, times, shop.store.places)
    return out


def _wait(shop: JobShop, number: int) -> str:
    return f"longest wait after {shop.stage(number).name}, {shop.jobs[shop.operations[number].job].name}"


def _crowd(shop: JobShop, net: Network, times: Times, places: int) -> tuple[Floats, Floats]:
    """(batch-units beyond the places, most batches beyond) of each run."""
    into = [
        i for i, (j, _, s) in enumerate(shop.operations) if shop.stage(i).stored and s + 1 < len(shop.jobs[j].stages)
    ]
    runs = times.end.shape[1]
    if not into:
        return np.zeros(runs), np.zeros(runs)
    enters = times.end[into].T
    leaves = np.maximum(times.start[[i + 1 for i in into]].T, enters)
    events = np.maximum(np.concatenate([leaves, enters], axis=1), net.progress.now)
    order = np.argsort(events, axis=1, kind="stable")  # at one moment a batch leaves before another enters
    events = np.take_along_axis(events, order, 1)
    held = np.cumsum(np.where(order < len(into), -1, 1), axis=1)[:, :-1]
    lasts = np.diff(events, axis=1)
    over = np.where(lasts > HAIR, np.maximum(held - places, 0), 0)
    return (over * lasts).sum(axis=1), over.max(axis=1).astype(np.float64)


def breaches(shop: JobShop, found: Iterable[Broken]) -> tuple[Breach, ...]:
    """Those that any run breaks, the most frequent first."""
    parts: dict[str, list[tuple[Floats, Floats]]] = {}
    for one in found:
        for what, pair in one.items():
            parts.setdefault(what, []).append(pair)
    out = []
    for what, pairs in parts.items():
        total, worst = (np.concatenate([pair[i] for pair in pairs]) for i in (0, 1))
        hit = total > 0
        if hit.any():
            unit = shop.hours if what.startswith("longest") else 1.0
            hours, most = float(total[hit].mean()) * shop.hours, float(worst[hit].mean()) * unit
            out.append(Breach(what, float(hit.mean()), hours, most))
    return tuple(sorted(out, key=lambda one: (-one.share, one.what)))
