"""The stations the material passes, one folder each, in the order of ``reelmark.way``.  No station imports another."""
