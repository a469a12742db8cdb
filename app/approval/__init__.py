"""Texts that two persons stand behind: written by one, approved by another, locked for good."""
