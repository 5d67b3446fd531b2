"""Settings of the strobe against the table of the project's notes on vision, 1: closed forms worked there by hand.

f = v / (k p),  blur = v t,  pixels = W / res,  data = W v / res2,  edge variance + b2 / 12.
Example of a camera maker's line-scan page, as the notes read it: 4 m/s at 0.27 mm -> 14.8 kHz lines.
"""

from dataclasses import replace

import pytest

from reelmark.errors import BadValue
from reelmark.frames import Window, WindowLayout
from reelmark.stations.window.strobe import FLICKER_HZ, strobe

LAYOUT = WindowLayout(150.0, 70.0, (Window(20.0, 14.0),), 0.4, 7)
ONE = 255  # rows of 0.4 mm: 102 mm, one repeat of 70 mm and a window to spare
ELEVEN = 2048  # rows: 819 mm


@pytest.mark.parametrize(
    ("speed", "each", "eleventh", "blur_um", "longest_us"),
    [
        (60, 14.3, 1.3, (1, 5, 20), (40, 10)),
        (120, 28.6, 2.6, (2, 10, 40), (20, 5)),
        (200, 47.6, 4.3, (3.3, 17, 67), (12, 3)),
        (300, 71.4, 6.5, (5, 25, 100), (8, 2)),
    ],
)
def test_every_figure_of_the_table(speed, each, eleventh, blur_um, longest_us):
    one, eleven = strobe(LAYOUT, speed, rows=ONE), strobe(LAYOUT, speed, rows=ELEVEN)
    assert (one.repeats, eleven.repeats) == (1, 11)
    assert one.flash_hz == pytest.approx(each, abs=0.05)
    assert eleven.flash_hz == pytest.approx(eleventh, abs=0.05)
    for flash_us, um in zip((1, 5, 20), blur_um, strict=True):  # the longest flash for that blur is that flash
        assert strobe(LAYOUT, speed, rows=ONE, blur_mm=um / 1e3).longest_flash_us == pytest.approx(
            flash_us, rel=0.03
        )  # the table rounds blur to two figures
    for blur_mm, us in zip((0.04, 0.01), longest_us, strict=True):
        assert strobe(LAYOUT, speed, rows=ONE, blur_mm=blur_mm).longest_flash_us == pytest.approx(us, rel=0.01)


def test_pixels_and_data_of_the_notes():
    # 1.05 m at 0.4 mm and 3 m/s: 2,625 px, 20 MB/s; 3 m at 0.1 mm: 30,000 px, 300 MB/s at 1 m/s, 900 at 3 m/s.
    # Frames overlap, so that data are W v / res2 times rows shown over rows moved on.
    for wide, pixel, speed, columns, mb_s in (
        (1050, 0.4, 3, 2625, 20), (3000, 0.1, 1, 30_000, 300), (3000, 0.1, 3, 30_000, 900),
    ):  # fmt: skip
        layout = replace(LAYOUT, mm_per_pixel=pixel)
        got = strobe(layout, 60 * speed, rows=8192, web_mm=wide)
        assert got.pixels[0] == columns
        lap = got.field_mm / (got.field_mm - got.overlap_mm)
        assert got.mpx_s / lap == pytest.approx(mb_s, rel=0.02)


def test_a_whole_roll_in_pixels_frames_and_windows():
    # notes: a roll at 0.4 mm, 1.05 m: 52 Gpx; 7 lanes x 70 mm x 8 km: 800,000 windows; about 10,400 frames
    got = strobe(LAYOUT, 180, rows=ELEVEN)
    lap = got.field_mm / (got.field_mm - got.overlap_mm)
    assert got.mb_roll / 1e3 / lap == pytest.approx(52, rel=0.02)
    assert got.windows_roll == pytest.approx(800_000, rel=0.001)
    assert got.frames_roll == pytest.approx(10_400, rel=0.002)


def test_what_an_encoder_s_error_does_to_a_count_by_it_alone():
    # notes: a repeat wrong by 0.05 mm of 70 (714 ppm) drifts 0.55 mm a frame of eleven, one repeat off after 98 m;
    # a wheel wrong by 0.01 mm of 159 (63 ppm) is 503 mm over 8 km; 400 ppm are 46 repeats
    wheel = strobe(LAYOUT, 120, rows=ELEVEN, encoder_ppm=0.05 / 70 * 1e6)
    assert wheel.drift_mm == pytest.approx(0.55)
    assert wheel.one_off_m == pytest.approx(98)
    assert wheel.lost_after_m == pytest.approx(49)
    assert strobe(LAYOUT, 120, rows=ELEVEN, encoder_ppm=0.01 / 159 * 1e6).adrift_mm == pytest.approx(503, abs=0.5)
    assert strobe(LAYOUT, 120, rows=ELEVEN, encoder_ppm=-400).repeats_off == 46
    assert strobe(LAYOUT, 120, rows=ELEVEN).one_off_m == float("inf")


def test_blur_widens_an_edge_by_a_twelfth_of_its_square():
    # closed form: the variance of a box two pixels wide is 4 / 12
    got = strobe(LAYOUT, 120, rows=ELEVEN, blur_mm=0.8)
    assert got.edge_var_px2 == pytest.approx(4 / 12)


@pytest.mark.parametrize(("speed", "rows", "warned"), [(60, ONE, True), (300, ONE, False), (60, ELEVEN, False),
                                                       (200, ELEVEN, True)])  # fmt: skip
def test_flashes_that_trouble_sensitive_people_are_warned_of(speed, rows, warned):
    # Epilepsy Society (UK): 3 to 30 a second commonly, up to 60 for some; see FLICKER_HZ
    assert FLICKER_HZ == (3.0, 60.0)
    assert any("sensitive to light" in one for one in strobe(LAYOUT, speed, rows=rows).cautions) is warned
    assert any("sensitive to light" in one for one in strobe(LAYOUT, speed, rows=rows, flicker_hz=(0.5, 90)).cautions)


@pytest.mark.parametrize("given", [
    {"flicker_hz": (9, 3)}, {"flicker_hz": (3, float("inf"))}, {"encoder_ppm": float("nan")}, {"encoder_ppm": 2e6},
    {"web_mm": 0.0}, {"roll_m": -1.0}, {"blur_mm": float("nan")}, {"rows": 0}, {"rows": 200},
])  # fmt: skip
def test_settings_that_cannot_be_are_refused(given):
    with pytest.raises(BadValue):
        strobe(LAYOUT, 120, **{"rows": ELEVEN} | given)


def test_an_encoder_so_wrong_that_a_frame_does_not_tell_is_said():
    assert any("count in doubt" in one for one in strobe(LAYOUT, 120, rows=ELEVEN, encoder_ppm=25_000).cautions)
    assert not any("count in doubt" in one for one in strobe(LAYOUT, 120, rows=ELEVEN, encoder_ppm=1500).cautions)
