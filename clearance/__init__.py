"""Checks a day's drive in a tall coach against every structure over or across the road."""

__version__ = "0.1.0"
