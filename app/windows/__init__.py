"""Windows: the limits a trace is held against, built in and the plant's own, under four eyes."""
