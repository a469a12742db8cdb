"""The engineer's sums: apertures of a foil, a collapsed ball, heating of a body."""
