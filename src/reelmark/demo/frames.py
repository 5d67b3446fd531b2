"""Pictures of windows on a coated web, with truth: what a strobed camera over the machine would see.

Every window is drawn from its outline at four times the resolution, pass by pass, and averaged down, so that the edge
is that of a lens (Gaussian) and a pixel (square), not that of the fit which will read it.  The coat is mottled at
scales of one's choice, the light falls off, the lens bends, the web shifts, turns and stretches.  All numbers are
assumed, from the project's notes on vision, 2/3, and open to change.  The same seed gives the same pictures.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from reelmark.demo.frames_paint import Scene, Spot, Strip, paint
from reelmark.frames import Frame, Picture, Window, WindowLayout

__all__ = ["PLAIN", "Drawn", "Fault", "Faults", "Scene", "draw", "roll"]

PLAIN = Scene(WindowLayout(150.0, 70.0, (Window(20.0, 14.0, 3.0, 75.0, 35.0),), 0.4, 6))


@dataclass(frozen=True, slots=True)
class Faults:
    """How many of each to plant in a frame: means of a Poisson number."""

    missing: float = 1.0
    half_filled: float = 1.0
    shifted: float = 2.0
    dirty: float = 0.0
    pinholes: float = 6.0
    streaks: float = 1.0


@dataclass(frozen=True, slots=True)
class Fault:
    """One planted.  kind as `stations.window.inspect.Kind` has it;  size_mm : offset, diameter or width

    passes : a hole goes through;  share : clear share of a window, or relative change of the coat's transmission
    """

    kind: str
    x_mm: float
    y_mm: float
    i: int = -1
    lane: int = -1
    window: int = -1
    size_mm: float = 0.0
    passes: int = 0
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """picture, bright (the second flash, or None), and the truth: nodes (i, lane, window) and their middles, px

    phase_mm : where repeat 0 begins at the middle column, before the lens;  size_mm : of each window, (n, 2)
    """

    picture: Picture
    bright: Picture | None
    nodes: NDArray[np.int64]
    middle_mm: NDArray[np.float64]
    size_mm: NDArray[np.float64]
    phase_mm: float
    faults: tuple[Fault, ...] = field(default=())


def draw(
    scene: Scene, seed: int, faults: Faults | None = None, *, phase_mm: float | None = None, bright: bool = False
) -> Drawn:
    """One frame.  faults None: a clean one;  phase_mm None: by chance, within +-4 mm of the middle of a repeat"""
    rng = np.random.default_rng(seed)
    layout = scene.layout
    phase = layout.pitch_along_mm / 2 + rng.uniform(-4, 4) if phase_mm is None else phase_mm
    web = scene.web(rng, phase)
    nodes = web.nodes()
    whole = web.whole(nodes)
    jitter = rng.normal(0, scene.jitter_mm, (len(nodes), 2))
    size = rng.normal(0, scene.size_sd_mm, (len(nodes), 2)) + [
        (layout.windows[w].across_mm, layout.windows[w].along_mm) for w in nodes[:, 2]
    ]
    planted = [] if faults is None else list(_planted(rng, scene, web.middles(nodes) + jitter, nodes, whole, faults))
    covered = {(one.i, one.lane, one.window): one for one in planted if one.lane >= 0}
    spots = [Spot(one.x_mm, one.y_mm, one.size_mm, one.passes) for one in planted if one.kind == "pinhole"]
    strips = [Strip(one.x_mm, one.size_mm, one.share) for one in planted if one.kind == "streak"]
    pictures = paint(rng, scene, web, nodes, jitter, size, covered, spots, strips, (1.0, 8.0) if bright else (1.0,))
    return Drawn(
        pictures[0],
        pictures[1] if bright else None,
        nodes[whole],
        (web.middles(nodes) + jitter)[whole],
        size[whole],
        phase,
        tuple(planted),
    )


def _planted(
    rng: np.random.Generator,
    scene: Scene,
    at: NDArray[np.float64],
    nodes: NDArray[np.int64],
    whole: NDArray[np.bool_],
    faults: Faults,
) -> Iterator[Fault]:
    """Each on a window of its own, or on the coat away from windows and from the rim."""
    free = list(rng.permutation(np.flatnonzero(whole)))
    for kind, mean in (
        ("missing", faults.missing),
        ("half filled", faults.half_filled),
        ("shifted pass", faults.shifted),
        ("dirty", faults.dirty),
    ):
        for _ in range(rng.poisson(mean)):
            if free:
                n = free.pop()
                size = {"shifted pass": rng.uniform(0.25, 1.0), "dirty": rng.uniform(1.0, 3.0)}.get(kind, 0.0)
                share = rng.uniform(0.3, 0.7) if kind == "half filled" else float(rng.uniform(0, 2 * np.pi))
                x, y = map(float, at[n])
                i, lane, window = map(int, nodes[n])
                yield Fault(kind, x, y, i, lane, window, size, 0, share)
    wide, high = scene.field_mm
    reach = max(max(one.across_mm, one.along_mm) for one in scene.layout.windows) / 2 + 4.0
    for _ in range(rng.poisson(faults.pinholes)):
        x, y = rng.uniform(8, wide - 8), rng.uniform(8, high - 8)
        if np.min(np.max(np.abs(at - (x, y)), axis=1)) > reach:
            passes = int(rng.integers(1, scene.passes + 1))
            yield Fault("pinhole", x, y, size_mm=float(rng.uniform(0.25, 0.9)), passes=passes)
    for _ in range(rng.poisson(faults.streaks)):
        share = float(rng.uniform(0.03, 0.12) * rng.choice([-1, 1]))
        yield Fault(
            "streak", float(rng.uniform(12, wide - 12)), high / 2, size_mm=float(rng.uniform(1, 5)), share=share
        )


def roll(
    scene: Scene, seed: int, count: int, faults: Faults | None = None, *, repeats: int | None = None
) -> Iterator[tuple[Frame, Drawn]]:
    """`count` frames of a running roll, one each `repeats` (as many as are wholly seen), with truth.

    The encoder tells the web's way exactly; whoever wants it wrong, or frames lost, changes what comes out.
    """
    pitch = scene.layout.pitch_along_mm
    high = scene.field_mm[1]
    step = (repeats or max(int(high / pitch) - 1, 1)) * pitch
    start = float(np.random.default_rng(seed).uniform(0, pitch))
    for n in range(count):
        slip = float(np.random.default_rng([seed, n]).normal(0, 1.0))  # the flash comes a little early or late
        encoder = n * step + slip
        one = draw(scene, seed * 100_003 + n, faults, phase_mm=float((start - encoder) % pitch))
        yield Frame(one.picture, encoder, n, encoder / 1000 / scene.speed_m_s, f"frame{n:06d}"), one


def varied(seed: int, **fixed: object) -> Scene:
    """A scene of other make: shape, windows a note, pixel, light, lens, mottle all by chance."""
    rng = np.random.default_rng(seed)
    pixel = float(rng.choice([0.1, 0.2, 0.3, 0.4, 0.55, 0.8]))
    shape = str(rng.choice(["rounded", "round", "keyhole"]))
    first = Window(18.0, 18.0, 9.0, 40.0, 35.0) if shape == "round" else Window(20.0, 14.0, 3.0, 40.0, 30.0)
    if shape == "keyhole":
        first = replace(first, across_mm=14.0, along_mm=22.0, corner_mm=0.0)
    pair = (first, Window(9.0, 12.0, 2.0, 110.0, 42.0))
    lanes = max(int(2448 * pixel / 150) - 1, 1)
    layout = WindowLayout(150.0, 70.0, pair[: int(rng.integers(1, 3))], pixel, lanes)
    scene = Scene(
        layout,
        shape=shape,
        transmission=float(rng.uniform(0.55, 0.75)),
        lamp=float(rng.uniform(120, 225)),
        falloff=float(rng.uniform(0, 0.35)),
        electrons=float(rng.uniform(6e3, 3e4)),
        mottle=float(rng.uniform(0.015, 0.06)),
        scales_px=tuple(float(one) for one in rng.choice([2, 3, 5, 8, 12, 24, 48, 96], 3, replace=False)),
        k1=float(rng.uniform(-0.008, 0.008)),
        blur_px=float(rng.uniform(0.6, 1.2)),
    )
    return replace(scene, **fixed)  # type: ignore[arg-type]
