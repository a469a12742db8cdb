"""The typed body of a recipe revision: its parts, its ranges, and its words for people."""
