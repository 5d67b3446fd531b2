"""Frames of another make than the demo's: polygons filled at eight times the resolution and averaged down.

Nothing is shared with `reelmark.demo.frames`: so a detector that leant on that drawing would fail here.
"""

from typing import Any

import cv2
import numpy as np
import pytest

from reelmark.frames import Window, WindowLayout
from reelmark.stations.window.inspect import Detector, Kind, Looked
from reelmark.stations.window.inspect.kernels_coat import smooth
from reelmark.stations.window.inspect.kernels_fit import robust_lines
from reelmark.stations.window.inspect.kernels_windows import medians, outlines

FINE = 8
COAT, CLEAR = 30.0, 180.0
ROUND = WindowLayout(60.0, 45.0, (Window(14.0, 14.0, 7.0, 30.0, 22.5),), 0.4, 4)
KEYHOLE = WindowLayout(60.0, 45.0, (Window(12.0, 20.0, 0.0, 30.0, 22.5),), 0.4, 4)


def _disc(size: float) -> Any:
    a = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    return size / 2 * np.column_stack([np.cos(a), np.sin(a)])


def _keyhole() -> Any:
    """A head 12 mm wide above, a slot of 5 mm below; 20 mm in all, about its middle."""
    a = np.linspace(np.pi / 2 + 0.43, 2.5 * np.pi - 0.43, 120)
    head = np.column_stack([6 * np.cos(a), 6 * np.sin(a) - 4])
    return np.concatenate([head, [[2.5, 10.0], [-2.5, 10.0]]])


def _frame(layout: WindowLayout, shape: Any, seed: int, *, size=(700, 640), faults=None, top=9.0, dark=COAT) -> Any:
    """shape : of the window about the middle of its cell, or a list of such, one for each window of a note

    faults : {(row, lane): "missing" | "diagonal"}, the second filled on one side of a diagonal, with grey
    """
    rng, pixel = np.random.default_rng(seed), layout.mm_per_pixel
    clear = np.zeros((size[1] * FINE, size[0] * FINE), np.uint8)
    left = (size[0] * pixel - layout.lanes * layout.pitch_across_mm) / 2 + rng.uniform(-2, 2)
    for row in range(-1, int(size[1] * pixel / layout.pitch_along_mm) + 2):
        for lane in range(-1, layout.lanes + 1):
            if (fault := (faults or {}).get((row, lane))) == "missing":
                continue
            middle = np.array([left + (lane + 0.5) * layout.pitch_across_mm, top + (row + 0.5) * layout.pitch_along_mm])
            parts = [middle + one for one in (shape if isinstance(shape, list) else [shape])]
            at = [np.rint((one / pixel * FINE - 0.5) * 16).astype(np.int32) for one in parts]
            cv2.fillPoly(clear, at, 255, shift=4)
            if fault == "diagonal":
                corner = np.array([[-40.0, -40.0], [40.0, -40.0], [-40.0, 40.0]]) * 0.8
                part = np.zeros_like(clear)
                cv2.fillPoly(
                    part, [np.rint(((middle + corner) / pixel * FINE - 0.5) * 16).astype(np.int32)], 255, shift=4
                )
                box = np.s_[_span(at[0][:, 1]), _span(at[0][:, 0])]
                clear[box] = np.where(part[box] > 0, np.minimum(clear[box], 60), clear[box])
    share: Any = cv2.resize(clear, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    share = np.asarray(cv2.GaussianBlur(share, (0, 0), 0.7), np.float32)
    weave = np.sin(np.arange(size[0]) * 0.9) * np.sin(np.arange(size[1])[:, None] * 0.7)
    coat = dark * (1 + 0.04 * weave + 0.02 * rng.normal(size=weave.shape))
    light = 1 + 0.1 * np.linspace(-1, 1, size[0])
    grey = (coat * (1 - share) + CLEAR * share) * light
    return np.clip(grey + rng.normal(0, 1.2, grey.shape) + 0.5, 0, 255).astype(np.uint8)


def _span(at: Any) -> slice:
    return slice(max(int(at.min() / 16) - 2, 0), int(at.max() / 16) + 3)


def _kinds(got: Looked) -> list[str]:
    assert got.refused is None, got.refused
    return sorted(str(one.kind) for one in got.found)


@pytest.mark.parametrize(("layout", "shape"), [(ROUND, _disc(14.0)), (KEYHOLE, _keyhole())])
@pytest.mark.parametrize("learnt", [True, False])
def test_clean_frames_are_clean_and_what_is_filled_or_missing_is_told(layout, shape, learnt):
    detector = Detector(layout)
    if learnt:
        detector.learn(_frame(layout, shape, seed) for seed in range(3))
    assert _kinds(detector.look(_frame(layout, shape, 10))) == []
    faults = {(1, 1): "missing", (1, 2): "missing", (3, 3): "diagonal"}
    assert _kinds(detector.look(_frame(layout, shape, 11, faults=faults))) == ["half filled", "missing", "missing"]


def test_a_keyhole_upside_down_is_told_once_its_shape_is_known():
    detector = Detector(KEYHOLE).learn(_frame(KEYHOLE, _keyhole(), seed) for seed in range(3))
    picture = _frame(KEYHOLE, _keyhole(), 20)
    assert detector.look(picture).refused is None
    for turned in (picture[::-1], picture[::-1, ::-1]):
        assert "turned over" in str(detector.look(np.ascontiguousarray(turned)).refused)
    assert detector.look(np.ascontiguousarray(picture[:, ::-1])).refused is None  # it looks the same that way


@pytest.mark.parametrize("size", [(180, 140), (700, 140), (180, 640)], ids=["one window", "one row", "one column"])
def test_few_windows_are_read(size):
    layout = WindowLayout(60.0, 45.0, ROUND.windows, 0.4, max(int(size[0] * 0.4 / 60), 1))
    detector = Detector(layout)
    got = detector.look(_frame(layout, _disc(14.0), 30, size=size, top=5.0))
    assert _kinds(got) == []
    assert len(got.nodes) >= 1
    assert np.abs(got.nodes.size_x_mm - 14).max() < 0.1


def test_four_of_ten_missing():
    rng = np.random.default_rng(4)
    gone = [(int(n) // 4, int(n) % 4) for n in rng.permutation(20)[:8]]
    detector = Detector(ROUND).learn(_frame(ROUND, _disc(14.0), seed) for seed in range(3))
    got = detector.look(_frame(ROUND, _disc(14.0), 40, faults=dict.fromkeys(gone, "missing")))
    assert _kinds(got) == ["missing"] * 8
    assert len(got.nodes) == 20


@pytest.mark.parametrize("beside", [2, 255])
def test_what_shows_beside_the_web_is_not_coat(beside):
    """A strip without web at the left, dark or light, and a hole in the coat: the hole is found, and nothing else."""
    picture = _frame(ROUND, _disc(14.0), 50)
    picture[:, :18] = beside
    picture[300:303, 345:348] = 110
    got = Detector(ROUND).look(picture)
    assert _kinds(got) == ["pinhole"]
    assert got.found[0].x_mm == pytest.approx(346 * 0.4, abs=0.5)


def test_a_hot_pixel_is_no_hole():
    picture = _frame(ROUND, _disc(14.0), 60)
    picture[300, 345] = picture[120, 2] = picture[5, 400] = 220
    assert _kinds(Detector(ROUND).look(picture)) == []


def test_a_missing_window_lies_on_the_web_where_the_lattice_has_it():
    detector = Detector(ROUND).learn(_frame(ROUND, _disc(14.0), seed) for seed in range(3))
    whole, less = (detector.look(_frame(ROUND, _disc(14.0), 70, faults=one)) for one in ({}, {(4, 3): "missing"}))
    one = next(f for f in less.found if f.kind is Kind.MISSING)
    same = (whole.nodes.i == one.i) & (whole.nodes.lane == one.lane)
    assert (one.x_mm, one.y_mm) == pytest.approx(
        (float(whole.nodes.x_mm[same][0]), float(whole.nodes.y_mm[same][0])), abs=0.02
    )


# ---------------------------------------------------------------- windows cut by the picture, and two a note

TOPS = (-37.0, -32.0, -27.0, -22.0, -17.0, -12.0, -7.0, -2.0, 3.0)  # mm: rows cut above, below, and not at all


@pytest.mark.parametrize("learnt", [True, False])
def test_windows_cut_by_the_edge_of_the_picture_change_no_size(learnt):
    """Two rows are whole, and others are cut by more or less: they tell nothing of the scale, so none of the sizes."""
    frames = [_frame(ROUND, _disc(14.0), 80 + n, size=(700, 300), top=top) for n, top in enumerate(TOPS)]
    detector = Detector(ROUND)
    if learnt:
        detector.learn(frames)
    seen = [detector.look(one, coat=False) for one in frames]
    assert [_kinds(one) for one in seen] == [[]] * len(frames)
    along = np.concatenate([one.nodes.size_y_mm for one in seen])
    assert np.ptp(along) < 0.03  # a pixel is 0.4 mm; the noise of one size is about 2 um


OVAL_AND_ROUND = [_disc(10.0) * (1.4, 1.0) + np.array([-13.0, -8.0]), _disc(10.0) + np.array([12.0, 9.0])]


@pytest.mark.parametrize("given", [True, False])
@pytest.mark.parametrize("learnt", [3, 0])
def test_two_unlike_windows_a_note_lie_where_the_edges_put_them(given, learnt):
    """Middles to 3.5 um (sd): one round window a note reads 2.7 um in frames so drawn (from our own output);

    and a web that is not stretched reads so, to 20 ppm."""
    at = [(17.0, 14.5), (42.0, 31.5)] if given else [(None, None), (None, None)]
    layout = WindowLayout(60.0, 45.0, (Window(14.0, 10.0, 5.0, *at[0]), Window(10.0, 10.0, 5.0, *at[1])), 0.4, 4)
    detector = Detector(layout)
    if learnt:
        detector.learn(_frame(layout, OVAL_AND_ROUND, seed) for seed in range(learnt))
    got = detector.look(_frame(layout, OVAL_AND_ROUND, 90), coat=False)
    assert _kinds(got) == []
    assert 1000 * max(float(np.std(off)) for off in (got.nodes.dx_mm, got.nodes.dy_mm)) < 3.5
    assert got.pitch_scale == pytest.approx(1.0, abs=20e-6)


ALIKE = [
    _disc(9.0) + np.array([-17.0, -8.0]),
    _disc(9.0) + np.array([17.0, 9.0]),
]  # 34 mm apart, and 26 mm from the next note's


@pytest.mark.parametrize("learnt", [3, 0])
def test_two_windows_alike_are_of_the_note_that_leaves_none_outside_the_lanes(learnt):
    layout = WindowLayout(60.0, 45.0, (Window(9.0, 9.0, 4.5),) * 2, 0.4, 2)
    frames = [_frame(layout, ALIKE, 100 + n, size=(300, 640)) for n in range(4)]
    detector = Detector(layout)
    if learnt:
        detector.learn(frames[:3])
    got = detector.look(frames[3], coat=False)
    assert _kinds(got) == []
    assert len(got.nodes) == 2 * 2 * 5
    first = [float(np.median(got.nodes.x_mm[(got.nodes.lane == 0) & (got.nodes.window == k)])) for k in (0, 1)]
    assert abs(first[1] - first[0]) == pytest.approx(34.0, abs=0.03)
    assert not got.health.notes


def test_lanes_that_show_and_are_not_counted_are_told():
    layout = WindowLayout(60.0, 45.0, ROUND.windows, 0.4, 1)
    picture = _frame(layout, _disc(14.0), 110, size=(450, 640))  # the lanes on either side show whole
    assert "outside the 1 lanes of the layout, in 2 more" in " ".join(Detector(layout).look(picture).health.notes)
    picture = _frame(layout, _disc(14.0), 110, size=(200, 640))
    assert not Detector(layout).look(picture).health.notes


# ---------------------------------------------------------------- the compiled loops, against plain ones


def test_smoothing_is_that_of_opencv():
    grey = np.random.default_rng(1).integers(0, 256, (41, 67)).astype(np.uint8)
    out = np.empty_like(grey)
    smooth(grey, out)
    assert np.array_equal(out, cv2.GaussianBlur(grey, (3, 3), 0, borderType=cv2.BORDER_REPLICATE))


def test_outlines_are_those_of_opencv_moments():
    mask = np.zeros((60, 80), np.uint8)
    cv2.ellipse(mask, (30, 28), (20, 11), 20, 0, 360, 255, -1)
    contour = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0][0]
    got = outlines(contour[:, 0], np.array([len(contour)]))[0]
    m = cv2.moments(contour)
    assert got[:2] == pytest.approx([m["m10"] / m["m00"], m["m01"] / m["m00"]], abs=1e-9)
    assert tuple(got[2:6]) == cv2.boundingRect(contour)
    assert got[6] == pytest.approx(np.count_nonzero(mask), abs=1)  # Pick's theorem: inside, and half the rim, and 1


def test_medians_and_lines_are_those_of_numpy():
    rng = np.random.default_rng(2)
    grey = rng.integers(0, 256, (7, 51)).astype(np.uint8)
    assert medians(grey) == pytest.approx(np.median(grey, axis=1))
    X = np.column_stack([np.ones(40), rng.normal(size=(40, 2))])
    truth = np.array([[1.0, -2.0], [3.0, 0.5], [0.0, 4.0]])
    Y = X @ truth
    Y[::9] += 50.0  # what is far off has no weight
    assert robust_lines(X, Y, np.ones(40, bool), 20, 1e-6, 1e-12) == pytest.approx(truth, abs=1e-6)
