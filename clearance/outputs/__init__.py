"""Writes results: one module a format, one place for wording and units."""
