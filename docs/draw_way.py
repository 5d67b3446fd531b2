"""Draw the way of the material as a picture: docs/way.svg, the same that the page Way shows.

.venv/bin/python docs/draw_way.py
"""

from pathlib import Path

from reelmark.figures.way import way_picture


def picture() -> str:
    """The whole picture, as SVG text."""
    return way_picture(alone=True) + "\n"


if __name__ == "__main__":
    Path(__file__).with_name("way.svg").write_text(picture(), encoding="utf-8")
