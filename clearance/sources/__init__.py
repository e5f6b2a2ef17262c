"""Reads open map data, lists of places and coach files. The only room that reads."""
