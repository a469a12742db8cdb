"""Assemblies, their parts and placements, the boards built from them, and their sites."""
