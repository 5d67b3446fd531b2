"""The picture of a strip, read as SVG: to scale, nothing lost, doubt paler and wider than what is sure."""

import re
from xml.etree import ElementTree

import pytest

from reelmark.acts.strips import Box, Track
from reelmark.figures.strip import Window, overlay, strip_picture
from reelmark.spans import Spans
from reelmark.svg import INKS, el, label, picture, style
from small_demo import made

SVG = "{http://www.w3.org/2000/svg}"
ROLLS = Track(
    "film.rolls",
    "film rolls",
    "um",
    (Box("A", 0, 8 * 10**9, 8 * 10**9, (1, 2), 0), Box("B", 8 * 10**9, 4 * 10**9, 4 * 10**9, (1, 2), 1)),
)
WHOLE = Window(0, 12 * 10**9, 1200)


def drawn(
    track: Track, window: Window, layers: dict[str, dict[int, Spans]], touched: object = None, **more: object
) -> ElementTree.Element:
    text = strip_picture(track, window, layers, touched, title="t", says="s", alone=True, **more)  # type: ignore[arg-type]
    return ElementTree.fromstring(text)


def boxes(svg: str | ElementTree.Element, cls: str) -> list[tuple[float, ...]]:
    """(x, y, wide, high) of the rectangles of a class."""
    root = (
        svg
        if isinstance(svg, ElementTree.Element)
        else ElementTree.fromstring(f'<g xmlns="http://www.w3.org/2000/svg">{svg}</g>')
    )
    paths = [p for p in root.iter(f"{SVG}path") if p.get("class", "").split() and p.get("class", "").split()[0] == cls]
    found = re.findall(r"M([\d.-]+) ([\d.-]+)h([\d.-]+)v([\d.-]+)", " ".join(p.get("d", "") for p in paths))
    return [tuple(map(float, one)) for one in found]


def test_rolls_lie_to_scale_on_their_lanes() -> None:
    """12 km on 1,200 px: 10 m a px; two rolls on two lanes."""
    material = boxes(drawn(ROLLS, WHOLE, {}), "clear")
    assert sorted({round(x) for x, *_ in material}) == [0, 800]
    assert sorted({round(wide) for _, _, wide, _ in material}) == [399, 799]
    assert len({y for _, y, *_ in material}) == 2


def test_one_metre_of_waste_in_twelve_kilometres_is_seen_and_faint() -> None:
    """0.1 of a column: drawn over one whole px, in the faintest strength."""
    root = drawn(ROLLS, WHOLE, {"lost": {1: Spans.of((5_005_000_000, 5_006_000_000))}})
    [(x, _, wide, _)] = boxes(root, "lost")
    assert (x, wide) == (500.0, 1.0)
    assert [p.get("class") for p in root.iter(f"{SVG}path") if p.get("class", "").startswith("lost")] == ["lost l1"]


def test_may_is_wider_and_higher_than_must_and_holds_it() -> None:
    may, must = {1: Spans.of((4_000_000_000, 4_400_000_000))}, {1: Spans.of((4_100_000_000, 4_300_000_000))}
    svg = overlay(ROLLS, WHOLE, (may, must))
    [(x, y, wide, high)], [(a, b, w, h)] = boxes(svg, "pale"), boxes(svg, "accent")
    assert x < a
    assert x + wide > a + w
    assert y < b
    assert y + high > b + h
    assert (round(x), round(wide)) == (400, 40)
    assert (round(a), round(w)) == (410, 20)


def test_a_window_shows_its_part_only() -> None:
    """1 km of the second roll: the first is not drawn, and a mark outside is not either."""
    window = Window(9 * 10**9, 10 * 10**9, 1000)
    root = drawn(ROLLS, window, {"lost": {1: Spans.of((5, 6), (9_500_000_000, 9_600_000_000))}})
    assert boxes(root, "clear") == [(0.0, 10.0, 999.2, 10.0), (0.0, 21.0, 999.2, 10.0)]
    assert boxes(root, "lost") == [(500.0, 10.0, 100.0, 10.0)]


def test_a_unit_s_own_measure_stands_under_it() -> None:
    words = ["".join(t.itertext()) for t in drawn(ROLLS, WHOLE, {}).iter(f"{SVG}text")]
    assert words[0] == "A"
    assert "B" in words
    assert {"2,000 m", "4,000 m", "6,000 m"} <= set(words)
    assert not any("12,000" in one for one in words)


def test_a_mark_hangs_above_its_place_and_leads_to_it() -> None:
    marks = [(6 * 10**9, "pinhole, A, lane 1", "/orders/x?of=A@6000-6001m@1")]
    text = strip_picture(ROLLS, WHOLE, {}, None, marks, title="t", says="s", alone=False)
    root = ElementTree.fromstring(text)
    [flag] = root.iter(f"{SVG}a")
    assert flag.get("href") == "/orders/x?of=A@6000-6001m@1"
    assert flag.get("aria-label") == "pinhole, A, lane 1"
    assert "M600.0" in next(flag.iter(f"{SVG}path")).get("d", "")


def test_words_cannot_break_out_of_the_picture() -> None:
    bad = '"><script>alert(1)</script>&'
    text = picture(10, 10, [label(1, 2, bad), el("a", href=bad)], title=bad, says=bad)
    root = ElementTree.fromstring(text)
    assert not list(root.iter(f"{SVG}script"))
    assert next(root.iter(f"{SVG}text")).text == bad


def test_every_colour_has_a_light_and_a_dark() -> None:
    for name, (light, dark) in INKS.items():
        assert f".{name}{{fill:{light}}}" in style()
        assert f".{name}{{fill:{dark}}}" in style()


@pytest.mark.parametrize("ground", [0, 1])
def test_words_stand_out_from_their_ground(ground: int) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text.  Formula: relative luminance of sRGB as given there."""
    for name in ("ink", "quiet", "accent"):
        assert contrast(INKS[name][ground], INKS["ground"][ground]) >= 4.5, name


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, two: str) -> float:
    low, high = sorted((luminance(one), luminance(two)))
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_formula_gives_the_known_ends() -> None:
    """WCAG 2.2: black on white is 21 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_every_track_of_an_order_is_a_well_formed_picture() -> None:
    from reelmark.acts.layers import layers
    from reelmark.acts.strips import strips

    _, reading = made()
    laid = layers(reading)
    for strip in strips(reading):
        for track in strip.tracks:
            flats = {name: track.flat(extent) for name, extent in laid.items()}
            root = drawn(track, Window(0, max(12, track.length), 1100), flats)
            assert root.find(f"{SVG}title") is not None
