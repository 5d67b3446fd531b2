"""Window.  Takes: coated roll.  Gives: roll whose windows are all accounted for.  Before: coat.  Next: optic.

strobe     settings of the flash and the camera
inspect    one frame: the lattice, every window on it, the coat between
count      repeats over a roll, encoder and lattice locked together; order, account, marks and figures beside it
roll       all frames of a roll gathered into a verdict
"""
