"""reelmark: the thread from resin to packs for a works that makes polymer notes.

Where every metre, sheet and number is; how many there are and in whose hands; whether the lot may go.
Start reading at ``way``, ``spans`` and ``facts``.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
