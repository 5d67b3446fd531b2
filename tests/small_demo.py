"""The small demo order, read once and shared: a history with its truth, and a works folder of it for who must write."""

from functools import cache
from pathlib import Path
from typing import Any

from reelmark.demo import SMALL, Simulated, simulate
from reelmark.reading import Reading
from reelmark.records import adapter


@cache
def made(seed: int = 1) -> tuple[Simulated, Reading]:
    """The shop and what is read from its records; the one sent twice is taken once, as the intake does."""
    sim = simulate(SMALL, seed)
    once: dict[tuple[str, int], Any] = {}
    for one in (one for shift in sim.records for one in shift):
        once.setdefault((one["machine"], one["seq"]), one)
    return sim, Reading.of(sim.order, sim.works, map(adapter().validate_python, once.values()))


def folder(at: Path, seed: int = 1) -> Path:
    """A works folder with the whole of its journal."""
    from reelmark.demo import write_records
    from reelmark.desk import Desk

    write_records(simulate(SMALL, seed), at)
    order, works = ((at / name).read_text(encoding="utf-8") for name in ("order.toml", "works.toml"))
    with Desk.create(at / "works", order, works) as desk:
        taken = desk.take(sorted((at / "records").glob("*.jsonl")))
        assert not taken.refused
        assert taken.taken
    return at / "works"
