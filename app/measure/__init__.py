"""How fast and how small: ratios within one run, against the bare work on the same machine."""
