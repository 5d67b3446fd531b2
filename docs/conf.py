"""Sphinx: the manual in Markdown, plain and offline; no page asks another host for anything."""

from importlib.metadata import version as installed

project = "reelmark"
author = "the reelmark developers"
release = version = installed("reelmark")

extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build"]
myst_enable_extensions = ["colon_fence", "deflist"]
myst_heading_anchors = 3

html_theme = "furo"
html_title = f"reelmark {release}"
html_show_sphinx = False
