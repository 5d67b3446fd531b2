"""The command line.  Commands only render what acts give; heavy parts are imported inside them, so help is quick."""

from .app import main

__all__ = ["main"]
