"""Prepares, clears, records, computes and proves the hot-gas rework of array packages."""
