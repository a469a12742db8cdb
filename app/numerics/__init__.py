"""Pure numbers: arrays in, frozen dataclasses out; no database, no clock, no web."""
