"""Cells of tables that others open: no text in them is taken for a formula."""

from typing import Final

# OWASP, CSV Injection: what spreadsheet programs take for the start of a formula, and its
# full-width forms, which some of them read the same.
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def guard_cell(text: str) -> str:
    """Return a text that no program takes for a formula: an apostrophe stands before it."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
