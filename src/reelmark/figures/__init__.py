"""Pictures of what the acts give, as SVG text: pure, drawn through ``svg``, the same for a page, a file and a paper."""
