"""Recipes: the instruction for one kind of site, written once, locked, and repeated."""
