"""Windows that come round with the cut-off only: given once a note, set down for every note of the repeat."""

from typing import Any

import pytest

from reelmark.errors import BadValue
from reelmark.frames import Window, WindowLayout
from reelmark.io.layout import layout_of

NOTE: dict[str, Any] = {
    "pitch_across_mm": 140, "pitch_along_mm": 700, "mm_per_pixel": 0.5, "lanes": 5, "notes_per_repeat": 9,
    "note_along_mm": 76, "first_note_mm": 8,
    "windows": [{"across_mm": 24, "along_mm": 16, "at_across_mm": 50, "at_along_mm": 38}],
}  # fmt: skip


def test_the_orders_sheet_worked_by_hand() -> None:
    # order.toml: 8 mm, then 9 notes of 76 mm, and 8 mm left of a cut-off of 700 mm.
    layout = layout_of(NOTE).layout
    assert [one.at_along_mm for one in layout.windows] == [8 + 76 * k + 38 for k in range(9)]
    assert (layout.notes_per_repeat, layout.row_of(0), layout.row_of(8)) == (9, (0, 0), (8, 0))
    assert layout_of(NOTE).notes == ()


def test_two_windows_a_note_are_counted_note_by_note() -> None:
    two = [*NOTE["windows"], {"diameter_mm": 10, "at_across_mm": 110, "at_along_mm": 20}]
    layout = layout_of(NOTE | {"windows": two, "windows_per_note": 2}).layout
    assert len(layout.windows) == 18
    assert [layout.row_of(k) for k in (0, 1, 2, 17)] == [(0, 0), (0, 1), (1, 0), (8, 1)]
    assert layout.windows[3] == Window(10, 10, 5, 110, 8 + 76 + 20)


def test_notes_share_the_repeat_where_no_length_is_given() -> None:
    less = {key: value for key, value in NOTE.items() if key not in {"note_along_mm", "first_note_mm"}}
    layout = layout_of(less | {"pitch_along_mm": 720}).layout
    assert [one.at_along_mm for one in layout.windows][:2] == [38, 118]


def test_a_file_without_them_stays_as_it_was() -> None:
    plain = {"pitch_across_mm": 150, "pitch_along_mm": 70, "mm_per_pixel": 0.4, "lanes": 6,
             "windows": [{"across_mm": 20, "along_mm": 14}]}  # fmt: skip
    told = layout_of(plain)
    assert told.layout == WindowLayout(150, 70, (Window(20, 14),), 0.4, 6)
    assert (told.layout.notes_per_repeat, told.over_lane) == (1, 0)
    assert layout_of(plain | {"over_lane": 2}).over_lane == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"notes_per_repeat": 10}, "10 notes of 76 mm from 8 mm on take 768 mm of 700"),
        ({"first_note_mm": 17}, "take 701 mm of 700"),
        ({"first_note_mm": -1}, "from -1 mm on"),
        ({"notes_per_repeat": 2.5}, "that is no count"),
        ({"note_along_mm": 0}, "9 notes of 0 mm"),
        ({"windows": [{"across_mm": 24, "along_mm": 16}]}, "its place in the note must be known"),
        ({"windows": [NOTE["windows"][0] | {"at_along_mm": 70}]}, "reaches out of its note of 76 mm"),
        ({"over_lane": 0}, "that is no count"),
    ],
)
def test_what_does_not_fit_is_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises(BadValue, match=said.replace("+", r"\+")):
        layout_of(NOTE | change)


def test_a_length_of_notes_without_their_number_is_refused() -> None:
    some = {key: value for key, value in NOTE.items() if key != "notes_per_repeat"}
    with pytest.raises(BadValue, match="does not say how many notes"):
        layout_of(some)


def test_a_layout_whose_windows_are_not_so_many_a_note_is_refused() -> None:
    with pytest.raises(BadValue, match="3 windows are not so many for each note"):
        WindowLayout(140, 700, (Window(10, 10),) * 3, 0.5, 5, 2)


PITCH = {"pitch_across_mm": 150, "pitch_along_mm": 70, "mm_per_pixel": 0.4, "lanes": 6}
ONE = {"windows": [{"across_mm": 20, "along_mm": 14, "corner_mm": 3}]}


@pytest.mark.parametrize(
    "window",
    [
        {"window_across_mm": 20, "window_along_mm": 14, "corner_mm": 3},
        {"window_size_mm": [20, 14], "corner_mm": 3},
        {"window_size_mm": [20, 14], "window_corner_mm": 3},
        {"window_mm": [20, 14], "corner_radius_mm": 3},
        {"window": [20, 14], "corner": 3},
        {"window": {"width_mm": 20, "height_mm": 14, "radius_mm": 3}},
        {"window": {"size_cm": [2, 1.4], "corner_um": 3000}},
        {"windows": [{"size": "20 x 14 mm", "corner": "3 mm"}]},
        {"windows": [{"across_mm": 20, "along_mm": 14}], "corner_mm": 3},
    ],
)
def test_a_window_as_people_write_it(window: dict[str, Any]) -> None:
    (one,) = layout_of(PITCH | window).layout.windows
    assert (one.across_mm, one.along_mm, one.corner_mm) == pytest.approx((20, 14, 3))


@pytest.mark.parametrize(
    "pitch",
    [
        {"pitch_mm": [150, 70], "mm_per_px": 0.4, "lanes": 6},
        {"pitch": {"across_mm": 150, "along_mm": 70}, "camera": {"mm_per_pixel": 0.4, "lanes": 6}},
        {"pitch_across_m": 0.15, "pitch_along": "70 mm", "um_per_pixel": 400, "number_of_lanes": 6},
        {
            "pitch_across_cm": 15,
            "pitch_along_um": 70_000,
            "pixel_size_um": 400,
            "lanes": ["A", "B", "C", "D", "E", "F"],
        },
    ],
)
def test_pitch_pixel_and_lanes_as_people_write_them(pitch: dict[str, Any]) -> None:
    told = layout_of(pitch | ONE)
    got = (told.layout.pitch_across_mm, told.layout.pitch_along_mm, told.layout.mm_per_pixel, told.layout.lanes)
    assert got == pytest.approx((150, 70, 0.4, 6))
    assert told.notes == ()


@pytest.mark.parametrize(("key", "cure"), [("lanes", "write lanes = 6"), ("mm_per_pixel", "write mm_per_pixel = 0.4")])
def test_a_key_that_lacks_is_named_with_how_to_write_it(key: str, cure: str) -> None:
    with pytest.raises(BadValue, match=cure):
        layout_of({name: value for name, value in (PITCH | ONE).items() if name != key})


@pytest.mark.parametrize("value", [10**400, float("nan"), float("inf"), -1, True, [20]])
def test_what_is_no_length_is_refused_with_its_key(value: object) -> None:
    with pytest.raises(BadValue, match=r"pitch_across_mm|layout"):
        layout_of(PITCH | ONE | {"pitch_across_mm": value})


def test_as_many_windows_as_would_fill_the_memory_are_refused() -> None:
    with pytest.raises(BadValue, match="1 to 10,000"):
        layout_of(PITCH | {"windows": [{"across_mm": 2, "along_mm": 1}], "windows_per_note": 1e300})
