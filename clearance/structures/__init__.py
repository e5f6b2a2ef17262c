"""Finds what stands over or across a road, and how high."""
