"""The painter behind `frames`: outlines, passes, light, coat, lens and noise -> grey pictures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture, WindowLayout

__all__ = ["Scene", "Spot", "Strip", "Web", "paint"]

Floats = NDArray[np.float64]
_FINE = 4  # points a pixel, each way, where an outline is drawn


class Spot(NamedTuple):
    """A round hole through some passes."""

    x_mm: float
    y_mm: float
    across_mm: float
    passes: int


class Strip(NamedTuple):
    """A streak along the web: the coat's transmission is changed by a share."""

    x_mm: float
    wide_mm: float
    share: float


@dataclass(frozen=True, slots=True)
class Scene:
    """What is looked at and by what.  transmission : of one pass;  lamp : grey of a window at the middle

    falloff : share of light lost at the corner;  electrons : a pixel at grey 255 holds;  mottle : rms of the coat,
    relative, in equal parts of each scale (sd of its patches, px)
    k1 : of the lens (corrected = picture * (1 + k1 r2), r = 1 at the corner)
    blur_px : sd of the lens;  shape : rounded, round or keyhole, of the first window (others are rounded)
    rotation_rad, shear, stretch, jitter_mm, size_sd_mm : standard deviations
    """

    layout: WindowLayout
    rows: int = 2048
    columns: int = 2448
    shape: str = "rounded"
    passes: int = 5
    transmission: float = 0.62
    lamp: float = 200.0
    falloff: float = 0.25
    electrons: float = 10e3
    mottle: float = 0.035
    scales_px: tuple[float, ...] = (4.0, 16.0, 64.0)
    clotted: bool = False
    k1: float = 0.004
    blur_px: float = 0.75
    rotation_rad: float = 1.5e-3
    shear: float = 3e-4
    stretch: float = 2e-4
    jitter_mm: float = 0.05
    size_sd_mm: float = 0.03
    speed_m_s: float = 2.5

    @property
    def field_mm(self) -> tuple[float, float]:
        """(across, along)."""
        return self.columns * self.layout.mm_per_pixel, self.rows * self.layout.mm_per_pixel

    def web(self, rng: np.random.Generator, phase_mm: float) -> "Web":
        """Where the web lies this time."""
        turn, shear, stretch = rng.normal(0, (self.rotation_rad, self.shear, self.stretch))
        bend = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn) + shear, np.cos(turn) * (1 + stretch)]])
        left = (self.field_mm[0] - self.layout.lanes * self.layout.pitch_across_mm) / 2 + rng.uniform(-4, 4)
        return Web(self, bend, left, phase_mm)


@dataclass(frozen=True, slots=True)
class Web:
    """Web to picture.  bend : (2, 2), rows are where a mm across and a mm along go, about the middle column, row 0"""

    scene: Scene
    bend: Floats
    left_mm: float
    phase_mm: float

    def place(self, along_web: Floats) -> Floats:
        """Lens-corrected place on the picture, mm, of a place (across from lane 0, along from repeat 0)."""
        middle = np.array([self.scene.field_mm[0] / 2, 0.0])
        flat = along_web + np.array([self.left_mm, 0.0]) - middle
        return np.asarray(flat @ self.bend + middle + np.array([0.0, self.phase_mm]), dtype=float)

    def nodes(self) -> NDArray[np.int64]:
        """(repeat, lane, window) of all that may reach into the picture, (n, 3); lanes beyond the frame too."""
        layout = self.scene.layout
        many = int(self.scene.field_mm[1] / layout.pitch_along_mm) + 3
        more = int(self.left_mm / layout.pitch_across_mm) + 2
        i, j, w = np.meshgrid(
            np.arange(-2, many), np.arange(-more, layout.lanes + more), np.arange(len(layout.windows)), indexing="ij"
        )
        return np.stack([i.ravel(), j.ravel(), w.ravel()], axis=1)

    def middles(self, nodes: NDArray[np.int64]) -> Floats:
        """Lens-corrected middles, mm, (n, 2)."""
        layout = self.scene.layout
        at = np.array([(one.at_across_mm or 0.0, one.at_along_mm or 0.0) for one in layout.windows])[nodes[:, 2]]
        return self.place(at + nodes[:, [1, 0]] * (layout.pitch_across_mm, layout.pitch_along_mm))

    def whole(self, nodes: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Those of the frame's lanes that lie wholly in it, with 2 mm to spare."""
        layout = self.scene.layout
        half = np.array([(one.across_mm / 2 + 2, one.along_mm / 2 + 2) for one in layout.windows])[nodes[:, 2]]
        at = self.middles(nodes)
        lane = (nodes[:, 1] >= 0) & (nodes[:, 1] < layout.lanes)
        return np.asarray(lane & np.all((at > half) & (at < self.scene.field_mm - half), axis=1))

    def corrected(self, columns: Floats, rows: Floats) -> tuple[Floats, Floats]:
        """Lens-corrected place, mm, of points of the picture."""
        scene = self.scene
        cx, cy = (scene.columns - 1) / 2, (scene.rows - 1) / 2
        x, y = columns - cx, rows - cy
        grow = 1 + scene.k1 * (x * x + y * y) / (cx * cx + cy * cy)
        pixel = scene.layout.mm_per_pixel
        return (x * grow + cx) * pixel, (y * grow + cy) * pixel


def outline(shape: str, x: Floats, y: Floats, across: float, along: float, corner: float) -> Floats:
    """Signed distance, mm, to the edge of a window about its middle: below 0 inside."""
    if shape == "keyhole":  # a round head above, a slot of under half its width below
        head = np.hypot(x, y + along / 2 - across / 2) - across / 2
        slot = np.maximum(np.abs(x) - across * 0.22, np.abs(y - across / 4) - (along / 2 - across / 4))
        return np.minimum(head, slot)
    r = min(across, along) / 2 if shape == "round" else corner
    u, v = np.abs(x) - across / 2 + r, np.abs(y) - along / 2 + r
    return np.hypot(np.maximum(u, 0), np.maximum(v, 0)) + np.minimum(np.maximum(u, v), 0) - r


def paint(
    rng: np.random.Generator,
    scene: Scene,
    web: Web,
    nodes: NDArray[np.int64],
    jitter: Floats,
    size: Floats,
    faults: Mapping[tuple[int, int, int], Any],
    spots: Sequence[Spot],
    strips: Sequence[Strip],
    flashes: Sequence[float],
) -> list[Picture]:
    """A picture for each flash, which are multiples of the lamp."""
    coat = scene.transmission**scene.passes
    clear = np.full((scene.rows, scene.columns), coat, np.float32)
    middle = web.middles(nodes) + jitter
    for n, node in enumerate(nodes):
        _window(
            scene, web, clear, middle[n], size[n], int(node[2]), faults.get((int(node[0]), int(node[1]), int(node[2])))
        )
    cover = (1 - clear) / np.float32(1 - coat)
    clear += np.float32(coat) * cover * (_coat(rng, scene, strips, spots) - 1)  # mottle is of the covered share only
    clear *= _light(scene)
    return [_exposed(rng, scene, clear * np.float32(flash)) for flash in flashes]


def _window(
    scene: Scene, web: Web, clear: NDArray[np.float32], middle: Floats, size: Floats, w: int, fault: Any
) -> None:
    """Multiply one window into the picture, in place."""
    import cv2

    pixel = scene.layout.mm_per_pixel
    margin = 6 + 4 * scene.blur_px + (fault.size_mm / pixel if fault else 0)
    bend = 12.0 * abs(scene.k1) / 0.004  # the lens may move it by so many pixels
    low = np.maximum(np.floor((middle - size / 2) / pixel - margin - bend), 0).astype(int)
    high = np.minimum(np.ceil((middle + size / 2) / pixel + margin + bend) + 1, (scene.columns, scene.rows)).astype(int)
    if np.any(high - low < 2) or (fault and fault.kind == "missing"):
        return
    at = [(np.arange((high[k] - low[k]) * _FINE) + 0.5) / _FINE - 0.5 + low[k] for k in (0, 1)]
    x, y = web.corrected(at[0][None, :], at[1][:, None])
    fine = _passes(scene, web, x - middle[0], y - middle[1], size, w, fault)
    sd = scene.blur_px * _FINE
    soft = np.asarray(cv2.GaussianBlur(fine.astype(np.float32), (0, 0), sd, borderType=cv2.BORDER_REPLICATE))
    few = soft.reshape(high[1] - low[1], _FINE, high[0] - low[0], _FINE).mean(axis=(1, 3))
    part = clear[low[1] : high[1], low[0] : high[0]]
    np.maximum(part, few, out=part)


def _passes(scene: Scene, web: Web, x: Floats, y: Floats, size: Floats, w: int, fault: Any) -> Floats:
    """Transmission of all passes at points about the middle of a window."""
    shape = scene.shape if w == 0 else "rounded"
    step = scene.layout.mm_per_pixel / _FINE
    back = np.linalg.inv(web.bend)  # the window is straight on the web, not on the picture
    x, y = x * back[0, 0] + y * back[1, 0], x * back[0, 1] + y * back[1, 1]

    def through(passes: int, dx: float = 0.0, dy: float = 0.0) -> Floats:
        """Of passes whose edges lie alike: linear in the share of a fine pixel that is clear, as light is."""
        far = outline(shape, x - dx, y - dy, size[0], size[1], scene.layout.windows[w].corner_mm)
        dark = scene.transmission**passes
        return np.asarray(dark + (1 - dark) * np.clip(0.5 - far / step, 0, 1))

    if fault is None:
        return through(scene.passes)
    if fault.kind == "shifted pass":
        off = fault.size_mm * np.cos(fault.share), fault.size_mm * np.sin(fault.share)
        return np.asarray(through(scene.passes - 1) * through(1, *off))
    if fault.kind == "half filled":
        filled = x >= (fault.share - 0.5) * size[0]
        return np.where(filled, scene.transmission**scene.passes, through(scene.passes))
    speck = np.hypot(x - size[0] * 0.2 * np.cos(fault.share), y) < fault.size_mm / 2
    return np.where(speck, 0.3, 1.0) * through(scene.passes)


def _coat(
    rng: np.random.Generator, scene: Scene, strips: Sequence[Strip], spots: Sequence[Spot]
) -> NDArray[np.float32]:
    """Transmission of the coat over its mean."""
    import cv2

    coat = np.ones((scene.rows, scene.columns), np.float32)
    part = scene.mottle / np.sqrt(len(scene.scales_px))
    for scale in scene.scales_px:
        grid = max(2.3 * scale, 1.0)  # as patchy as white noise under a Gaussian of sd `scale`
        few = rng.normal(size=(int(scene.rows / grid) + 3, int(scene.columns / grid) + 3)).astype(np.float32)
        if scene.clotted:  # a skewed texture, as of a coat that has clumped
            few = (few * few - 1).astype(np.float32) / np.float32(2**0.5)
        big = cv2.resize(few, (scene.columns, scene.rows), interpolation=cv2.INTER_CUBIC)
        coat += big * np.float32(part / float(big.std()))
    pixel = scene.layout.mm_per_pixel
    for strip in strips:
        at = np.abs(np.arange(scene.columns) * pixel - strip.x_mm)
        coat *= (1 + strip.share * np.clip((strip.wide_mm / 2 - at) / pixel + 0.5, 0, 1)).astype(np.float32)
    for spot in spots:
        _hole(scene, coat, spot)
    return coat


def _hole(scene: Scene, coat: NDArray[np.float32], spot: Spot) -> None:
    """Multiply one hole into the coat, in place; the lens is left out, as only the place would change."""
    import cv2

    pixel = scene.layout.mm_per_pixel
    reach = int(spot.across_mm / pixel / 2 + 4 * scene.blur_px + 3)
    c, r = round(spot.x_mm / pixel), round(spot.y_mm / pixel)
    if not (reach <= c < scene.columns - reach and reach <= r < scene.rows - reach):
        return
    at = (np.arange((2 * reach + 1) * _FINE) + 0.5) / _FINE - 0.5 - reach
    far = np.hypot((at + c) * pixel - spot.x_mm, (at[:, None] + r) * pixel - spot.y_mm) - spot.across_mm / 2
    fine = np.clip(0.5 - far / (pixel / _FINE), 0, 1).astype(np.float32)
    soft = np.asarray(cv2.GaussianBlur(fine, (0, 0), scene.blur_px * _FINE))
    share = soft.reshape(2 * reach + 1, _FINE, 2 * reach + 1, _FINE).mean(axis=(1, 3))
    coat[r - reach : r + reach + 1, c - reach : c + reach + 1] *= 1 + share * (scene.transmission**-spot.passes - 1)


def _light(scene: Scene) -> NDArray[np.float32]:
    """Of the lamp, in grey, falling off with the square of the way from the middle."""
    x = np.linspace(-1, 1, scene.columns, dtype=np.float32)
    y = np.linspace(-1, 1, scene.rows, dtype=np.float32)
    r2 = (x * x + (y * y)[:, None]) / np.float32(2)
    return np.asarray(scene.lamp * (1 - scene.falloff * r2), dtype=np.float32)


def _exposed(rng: np.random.Generator, scene: Scene, light: NDArray[np.float32]) -> Picture:
    """Shot noise (Gaussian, for there are many electrons) and reading noise of half a grey, then whole greys."""
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    sd = np.sqrt(light * np.float32(255 / scene.electrons) + np.float32(0.25))
    return np.asarray(np.clip(light + noise * sd + np.float32(0.5), 0, 255), dtype=np.uint8)
