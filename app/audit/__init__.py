"""The append-only log: who did what, in a tree of hashes that shows every change."""
