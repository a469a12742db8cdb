"""Files as they came, kept whole and found by their SHA-256."""
