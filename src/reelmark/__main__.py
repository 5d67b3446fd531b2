"""python -m reelmark"""

from .cli import main

main()
