"""An order of about 50 million notes, made by chance from a seed: the records a shop writes, and the same as runs.

27 mother rolls of 8 km and 4 lanes; six passes, the last slits; one pass of each lane; cut to sheets of 700 mm; piles
of 10,000 looked through once, printed four times, numbered 45-up; every time sheets are pulled, all at known places.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

from reelmark.facts import Imprint, PileRun, Pull, Run
from reelmark.handling import cut_to_sheets, rewound

MOTHERS, LANES, METRE = 27, 4, 1_000_000
LENGTH, CUT_OFF, UPS, BLOCK, PILE = 8000 * METRE, 700_000, 45, 1000, 10_000
MOTHER_PASSES, PRINTS = 6, 4
PRESSES = ("press 1", "press 2", "relief press 1", "relief press 2")

BEGAN = datetime(2031, 1, 6, 6, tzinfo=UTC)

Kept = tuple[int, int]
Record = dict[str, Any]


@dataclass(frozen=True)
class Wound:
    """A roll's lane came of another's by these stretches, um as unwound; length : of the roll unwound."""

    source: str
    length: int
    kept: tuple[Kept, ...]


@dataclass(frozen=True)
class Cut:
    """Sheets cut one after another off a lane's roll of this length, into a pile."""

    unit: str
    lane: int
    length: int
    first: int
    sheets: int
    pile: str


@dataclass
class Shop50:
    """The works writing its records.  wound, cuts : the plain facts, for the judge of the thread."""

    name: str
    rng: Random
    first: int = 0
    runs: list[Run] = field(default_factory=list)
    records: list[Record] = field(default_factory=list)
    wound: dict[str, Wound] = field(default_factory=dict)
    cuts: list[Cut] = field(default_factory=list)
    length: dict[str, int] = field(default_factory=dict)
    ticks: int = 0
    _written: dict[str, int] = field(default_factory=dict)

    def note(self, kind: str, machine: str, record: Record, **facts: Any) -> None:
        """One record and the run it stands for."""
        seq, self._written[machine] = self.first + len(self.runs), self._written.get(machine, 0) + 1
        at = (BEGAN + timedelta(minutes=10 * seq)).isoformat()
        who = {"kind": kind, "machine": machine, "seq": self._written[machine], "at": at, "by": "hand 1"}
        self.records.append({**who, **record})
        self.runs.append(Run(seq, "bench", machine, at, "hand 1", kind, **facts))

    # --- web ---------------------------------------------------------------------------------------------------

    def roll(self, unit: str) -> str:
        self.length[unit] = LENGTH
        self.note("roll", "film line", {"unit": unit, "length": _m(LENGTH), "lanes": LANES},
                  born=((unit, LANES, LENGTH),))  # fmt: skip
        return unit

    def kept(self, length: int) -> tuple[Kept, ...]:
        """What a pass keeps: less the start, the end and 0 to 3 trims."""
        low, high = self.rng.randint(15 * METRE, 40 * METRE), length - self.rng.randint(5 * METRE, 20 * METRE)
        free = range(low + 100 * METRE, high - 200 * METRE, 100 * METRE)
        places = sorted(self.rng.sample(free, self.rng.randint(0, 3)))
        trims = [(at, at + self.rng.randint(1 * METRE, 40 * METRE)) for at in places]
        return tuple(zip([low, *(b for _, b in trims)], [*(a for a, _ in trims), high], strict=True))

    def passed(self, unit: str, kind: str, machine: str, to: dict[int, str]) -> None:
        """Unwound and wound again, each lane on the roll named."""
        length = self.length[unit]
        kept = self.kept(length)
        waste = f"{next(iter(to.values()))}/waste"
        pieces, wound = rewound({unit: length}, [(unit, a, b) for a, b in kept], to, waste)
        for roll in to.values():
            self.wound[roll], self.length[roll] = Wound(unit, length, kept), wound
        stretches = [{"unit": unit, "start": _m(a), "end": _m(b)} for a, b in kept]
        given = [{"lane": lane, "unit": roll} for lane, roll in to.items()] if kind == "slit" else to[next(iter(to))]
        self.note(kind, machine, {"kept": stretches, "to": given}, pieces=pieces)

    def mother(self, number: int) -> list[tuple[str, int]]:
        """A mother roll through all its passes: the lanes' rolls."""
        name = f"{self.name}F{number}"
        unit = self.roll(name)
        for i in range(1, MOTHER_PASSES):
            to = f"{name}.{i}"
            self.passed(unit, "pass", f"coater {i}", dict.fromkeys(range(1, LANES + 1), to))
            unit = to
        self.passed(unit, "slit", "slitter", {lane: f"{name}L{lane}" for lane in range(1, LANES + 1)})
        for lane in range(1, LANES + 1):
            self.passed(f"{name}L{lane}", "pass", "rewinder", {lane: f"{name}L{lane}.1"})
        return [(f"{name}L{lane}.1", lane) for lane in range(1, LANES + 1)]

    def sheeted(self, unit: str, lane: int) -> list[str]:
        """A lane's roll cut into one pile or two, the register set again between them; the top pile first."""
        length, at, piles = self.length[unit], self.rng.randint(1, CUT_OFF), list[str]()
        most = (length - at) // CUT_OFF - 1
        many = self.rng.choice(([most], [most // 3, most - most // 3]))
        for i, sheets in enumerate(many):
            pile = f"{unit}/c{i}"
            piece = cut_to_sheets(unit, lane, length, at, sheets, CUT_OFF, pile)
            self.cuts.append(Cut(unit, lane, length, at, sheets, pile))
            record = {"unit": unit, "to": pile, "first_cut": _m(at), "sheets": sheets}
            self.note("sheet", "sheeter", record, pieces=(piece,))
            self.length[pile] = sheets
            piles.insert(0, pile)
            at += sheets * CUT_OFF + self.rng.randint(2_000, 9_000)
        return piles

    # --- piles -------------------------------------------------------------------------------------------------

    def piled(self, rest: str | None, piles: list[str], number: int) -> tuple[str | None, list[str]]:
        """Piles joined and split to 10,000: what is left, and the full piles."""
        units = [*([rest] if rest else []), *piles]
        joined = f"{self.name}J{number}"
        total = self.length[joined] = sum(self.length[u] for u in units)
        self.note("join", "pile turner", {"units": units, "to": joined},
                  pile=PileRun(tuple(units), ((joined, None),), False))  # fmt: skip
        full = [f"{joined}.{i}" for i in range(total // PILE)]
        over = f"{joined}.rest"
        parts = [*((unit, PILE) for unit in full), (over, total % PILE)]
        given = [{"unit": u, "sheets": n} for u, n in parts[:-1]] + [{"unit": over}]
        outputs = (*((u, n) for u, n in parts[:-1]), (over, None))
        self.note("split", "pile turner", {"unit": joined, "to": given}, pile=PileRun((joined,), outputs, False))
        self.length |= parts
        return over, full

    def pulls(self, n: int, to: str) -> tuple[Pull, ...]:
        """Make-ready in clusters, samples, bursts and single sheets: about 64 of 10,000 in 25 pulls."""
        rng = self.rng
        wanted = [(0, rng.randint(15, 40), "make-ready")]
        wanted += [(rng.randrange(n), rng.randint(5, 15), "make-ready") for _ in range(rng.randint(0, 1))]
        wanted += [(at + rng.randrange(900), 1, "sample") for at in range(50, n - 900, 1000)]
        wanted += [(rng.randrange(n), rng.randint(2, 6), "burst") for _ in range(rng.randint(1, 4))]
        wanted += [(rng.randrange(n), 1, "spoil") for _ in range(rng.randint(6, 15))]
        made, at = list[Pull](), 0
        for start, sheets, why in sorted(wanted):
            if at <= start <= n - sheets:
                made.append(Pull(start, sheets, f"{to}/{len(made)}", "sample" if why == "sample" else "spoiled", why))
                at = start + sheets
        return tuple(made)

    def handled(self, unit: str, to: str, kind: str, machine: str, record: Record, numbered: bool = False) -> str:
        """A pile through one machine, sheets pulled on the way."""
        pulls = self.pulls(self.length[unit], to)
        left = self.length[to] = self.length[unit] - sum(p.sheets for p in pulls)
        taken = [{"start": p.start, "sheets": p.sheets, "kind": p.kind, "why": p.why} for p in pulls]
        facts: dict[str, Any] = {"pile": PileRun((unit,), ((to, None),), kind != "pull", pulls)}
        if numbered:
            facts["imprint"] = Imprint(to, self.name, 0, BLOCK, UPS, True, self.ticks, left)
            record |= {"first_tick": self.ticks, "ticks": left}
            self.ticks += left
        self.note(kind, machine, {"unit": unit, "to": to, **record, "pulls": taken, "counted_out": left}, **facts)
        return to

    def finished(self, pile: str) -> None:
        """A pile looked through, printed and numbered."""
        unit = self.handled(pile, f"{pile}s", "pull", "inspection", {})
        for i, press in enumerate(PRESSES, 1):
            unit = self.handled(unit, f"{pile}p{i}", "print", press, {"work": f"print {i}"})
        record = {"series": self.name, "first": "0", "block": BLOCK, "descending": True}
        self.handled(unit, f"{pile}n", "number", "numbering press", record, numbered=True)


def make_order(seed: int, name: str = "A", first: int = 0) -> Shop50:
    """The order, always the same for a seed.

    name : of its series, and what its units begin with; first : its first entry in the journal
    """
    shop = Shop50(name, Random(seed), first)
    lanes = [lane for number in range(1, MOTHERS + 1) for lane in shop.mother(number)]
    rest: str | None = None
    piles: list[str] = []
    for number, (unit, lane) in enumerate(lanes):
        rest, full = shop.piled(rest, shop.sheeted(unit, lane), number)
        piles += full
    if rest and shop.length[rest] > PILE // 10:  # a few sheets are not worth a set-up: they lie on for the next order
        piles.append(rest)
    for pile in piles:
        shop.finished(pile)
    return shop


def _m(um: int) -> str:
    return f"{um // METRE}.{um % METRE:06} m"
