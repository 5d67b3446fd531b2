"""Window.  Takes: coated roll.  Gives: roll whose windows are all accounted for.  Before: coat.  Next: optic.

strobe      settings of the flash and the camera
inspect     one frame: the lattice, every window on it, the coat between; rollers, of all frames
roll        all frames of a roll gathered into a verdict
count       repeats over a roll, encoder and lattice locked together; count_index puts them right by index marks
count_*     order, restart        which frame follows which; encoders and strobes that begin again
            seen, rows            what is counted, and what cannot be
            part, tally, fields   the account of a part: every window once, gaps and their reasons
            pace, found, marks, figures     notes of the encoder, marks by metre, figures of windows and camera
"""
