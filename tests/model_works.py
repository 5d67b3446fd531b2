"""A small works in memory, moved by hand: every micrometre and every sheet a Python object, the dullest possible walk.

It makes runs and ties as the intake would, and knows the truth that those only describe.  The law tests share it.
"""

from dataclasses import dataclass, field
from random import Random
from typing import Any

from reelmark.facts import SERIES, Imprint, PileRun, Pull, Run, Tie, Unknown
from reelmark.handling import FLIPS, cut_to_sheets, rewound
from reelmark.spans import Extent, Spans
from reelmark.trace.strikes import Strikes

CUT_OFF, UPS, BLOCK = 3, 4, 5


@dataclass
class World:
    """Truth: unit -> lane -> identities in the order of the axis; a sheet's identity is the frozen set of its film."""

    rng: Random
    doubtful: bool
    runs: list[Run] = field(default_factory=list)
    ties: list[Tie] = field(default_factory=list)
    at: dict[str, dict[int, list[Any]]] = field(default_factory=dict)
    numbers: dict[int, frozenset[Any]] = field(default_factory=dict)
    unknown_takes: dict[str, int] = field(default_factory=dict)
    ticks: int = 0

    @property
    def seq(self) -> int:
        return len(self.runs) + len(self.ties)

    def name(self, stem: str) -> str:
        return f"{stem}{len(self.at)}"

    def run(self, what: str, **more: object) -> None:
        self.runs.append(Run(self.seq, "press", "m", "t", "p", what, **more))  # type: ignore[arg-type]

    # --- web ---

    def roll(self) -> str:
        unit, length = self.name("R"), self.rng.randint(30, 60)
        self.at[unit] = {lane: [(unit, lane, x) for x in range(length)] for lane in (1, 2)}
        self.run("roll", born=((unit, 2, length),))
        return unit

    def kept(self, units: list[str]) -> list[tuple[str, int, int]]:
        stretches = []
        for unit in units:
            length = len(next(iter(self.at[unit].values())))
            a, b = sorted((self.rng.randint(0, 4), length - self.rng.randint(0, 4)))
            middle = self.rng.randint(a + 1, b - 1)
            gap = self.rng.choice((0, 0, 2))
            stretches += [(unit, a, b)] if middle + gap >= b - 1 else [(unit, a, middle), (unit, middle + gap, b)]
        return stretches

    def passed(self, units: list[str], slit: bool = False) -> list[str]:
        kept = self.kept(units)
        lanes = list(self.at[units[0]])
        to = {lane: self.name(f"W{lane}.") for lane in lanes} if slit else dict.fromkeys(lanes, self.name("W"))
        lengths = {u: len(self.at[u][lanes[0]]) for u in units}
        waste = self.name("X")
        pieces, _ = rewound(lengths, kept, to, waste)
        for lane, unit in to.items():
            unwound = {u: self.at[u][lane][::-1] for u in units}
            self.at.setdefault(unit, {})[lane] = [x for u, a, b in kept for x in unwound[u][a:b]]
            good = set(self.at[unit][lane])
            thrown = [x for u in dict.fromkeys(units) for x in unwound[u] if x not in good]
            if thrown:
                self.at.setdefault(waste, {})[lane] = thrown
        self.run("slit" if slit else "pass", pieces=pieces)
        return list(dict.fromkeys(to.values()))

    def sheeted(self, unit: str) -> str:
        (lane,) = self.at[unit]
        web, pile = self.at[unit][lane], self.name("P")
        first, many = self.rng.randint(0, 2), (len(web) - 2) // CUT_OFF
        piece = cut_to_sheets(unit, lane, len(web), first, many, CUT_OFF, pile)
        unwound = web[::-1]
        born = [frozenset(unwound[first + k * CUT_OFF : first + (k + 1) * CUT_OFF]) for k in range(many)]
        self.at[pile] = {0: born[::-1]}
        self.run("sheet", pieces=(piece,))
        return pile

    # --- piles ---

    def pulls(self, feed: list[Any], to: str) -> tuple[list[Any], tuple[Pull, ...], tuple[Unknown, ...]]:
        """Known pulls at distinct places, in a doubtful works uncounted ones; the sheets really taken leave feed."""
        n, taken, pulls, unknowns = len(feed), set(), [], []
        for i in range(self.rng.choice((0, 0, 1, 2))):
            if n and (start := self.rng.randrange(n)) not in taken:
                taken.add(start)
                pulls.append(Pull(start, 1, f"{to}/{i}", "spoiled", "test"))
                self.at[f"{to}/{i}"] = {0: [feed[start]]}
        for j in range(self.rng.choice((0, 1, 1, 2)) if self.doubtful and n else 0):
            a = self.rng.randrange(n)
            b = self.rng.randint(a + 1, n)
            free = [f for f in range(a, b) if f not in taken]
            gone = sorted(self.rng.sample(free, min(len(free), self.rng.choice((0, 1, 1, 2, 3)))))
            low, high = max(0, len(gone) - self.rng.choice((0, 1))), len(gone) + self.rng.choice((0, 1, 2))
            lot = f"{to}/u{j}"
            unknowns.append(Unknown(f"pull {lot}", a, b, low, min(max(high, 1), b - a), lot, "spoiled", "test"))
            self.at[lot] = {0: [feed[f] for f in gone]}
            taken |= set(gone)
        return [x for f, x in enumerate(feed) if f not in taken], tuple(pulls), tuple(unknowns)

    def handled(self, units: list[str], reverses: bool, pulled: bool = True, parts: int = 1) -> list[str]:
        feed = [x for u in units for x in self.at[u][0]]
        to = self.name("P")
        left, pulls, unknowns = self.pulls(feed, to) if pulled else (feed, (), ())
        names = [to] + [f"{to}.{i}" for i in range(1, parts)]
        cuts = sorted(self.rng.randint(0, max(0, len(left) - 3)) for _ in names[1:])
        edges = [0, *cuts, len(left)]
        outputs = []
        for i, (name, a, b) in enumerate(zip(names, edges, edges[1:], strict=False)):
            self.at[name] = {0: left[a:b][::-1] if reverses else left[a:b]}
            outputs.append((name, None if i == len(names) - 1 else b - a))
        self.run("print", pile=PileRun(tuple(units), tuple(outputs), reverses, pulls, unknowns))
        return names

    def counted(self, unit: str) -> None:
        self.ties.append(Tie(self.seq, unit, counted=len(self.at[unit][0])))

    def sighted(self, unit: str, as_unit: str) -> None:
        both = [x for x in self.at[unit][0] if x in self.at[as_unit][0]]
        if both:
            x = self.rng.choice(both)
            y, z = self.at[unit][0].index(x), self.at[as_unit][0].index(x)
            self.ties.append(Tie(self.seq, unit, sheet=y, as_unit=as_unit, as_sheet=z))

    def numbered(self, unit: str) -> str | None:
        sheets, to = self.at[unit][0], self.name("N")
        if not sheets:
            return None
        printed = sheets[::-1]
        self.at[to] = {0: printed}
        delivered = sheets
        missed = {self.rng.randrange(len(delivered))} if self.doubtful and self.rng.random() < 0.5 else set()
        struck = [(d, x) for d, x in enumerate(delivered) if d not in missed]
        descending = self.rng.random() < 0.5
        imprint = Imprint(to, "S", 1000, BLOCK, UPS, descending, self.ticks, max(1, len(struck)))
        if not struck:
            del self.at[to]
            return None
        strikes = Strikes.of(imprint)
        for e, (_, x) in enumerate(struck):
            for p in range(UPS):
                self.numbers[strikes.number(self.ticks + e, p)] = x
        self.run("number", pile=PileRun((unit,), ((to, None),), True), imprint=imprint)
        for _ in range(self.rng.choice((0, 1, 2)) if self.doubtful else 0):
            e = self.rng.randrange(len(struck))
            y = len(delivered) - 1 - struck[e][0]
            self.ties.append(Tie(self.seq, to, sheet=y, as_unit=strikes.place[0], as_sheet=self.ticks + e))
        self.ticks = -(-(self.ticks + len(struck)) // BLOCK) * BLOCK
        return to

    # --- what is true ---

    def meant(self, unit: str, lane: int, places: list[int]) -> set[Any]:
        if unit.startswith(SERIES):
            return {self.numbers[n] for n in places if n in self.numbers}
        return {self.at[unit][lane][x] for x in places}

    def holding(
        self, things: set[Any], made: dict[str, int], after: int, before: int
    ) -> dict[tuple[str, int], set[int]]:
        """Where these sheets, or this film, lie in every unit made after one entry and before another."""
        film = {f for t in things for f in (t if isinstance(t, frozenset) else [t])}
        whole = {t for t in things if isinstance(t, frozenset)}

        def is_meant(x: object) -> bool:
            if isinstance(x, frozenset):
                return x in whole if whole else bool(x & film)
            return x in film

        found = {
            (unit, lane): {i for i, x in enumerate(items) if is_meant(x)}
            for unit, lanes in self.at.items() if after < made.get(unit, -1) < before for lane, items in lanes.items()
        }  # fmt: skip
        found[SERIES + "S", 0] = {n for n, x in self.numbers.items() if is_meant(x)}
        return {place: xs for place, xs in found.items() if xs}


def small_works(seed: int, doubtful: bool) -> World:
    """A works of two lanes and a few dozen sheets, with a random history; doubtful = not everything was counted."""
    world = World(Random(seed), doubtful)
    rng = world.rng
    rolls = [world.roll() for _ in range(rng.choice((1, 2)))]
    if len(rolls) == 2 and rng.random() < 0.5:
        rolls = world.passed(rolls)
    webs = []
    for roll in rolls:
        (one,) = world.passed([roll]) if rng.random() < 0.6 else [roll]
        webs += world.passed([one], slit=True)
    piles = [world.sheeted(web) for web in webs]
    history: dict[str, str] = {}
    for _ in range(rng.randint(2, 6)):
        piles = _something(world, piles, history)
        if doubtful and rng.random() < 0.4:
            world.counted(rng.choice(piles))
        if doubtful and rng.random() < 0.3:
            unit = rng.choice(piles)
            if unit in history:
                world.sighted(unit, history[unit])
    numbered = [n for pile in piles if (n := world.numbered(pile))]
    for pile in numbered:
        if rng.random() < 0.5:
            world.handled([pile], reverses=rng.random() < 0.5)
    return world


def _something(world: World, piles: list[str], history: dict[str, str]) -> list[str]:
    rng = world.rng
    pile = rng.choice(piles)
    rest = [p for p in piles if p != pile]
    what = rng.choice(("print", "print", "turn", "pull", "split", "join"))
    if what == "join" and rest:
        return rest[1:] + world.handled([pile, rest[0]], reverses=False, pulled=False)
    made = world.handled(
        [pile], reverses=what in {"print", "turn"}, pulled=what in {"print", "pull"}, parts=2 if what == "split" else 1
    )
    for one in made:
        history[one] = history.get(pile, pile)
    return rest + made


def extent(place: tuple[str, int], places: set[int]) -> Extent:
    return Extent({place: Spans(sorted(places), [x + 1 for x in sorted(places)])})


__all__ = ["BLOCK", "CUT_OFF", "FLIPS", "UPS", "World", "extent", "small_works"]
