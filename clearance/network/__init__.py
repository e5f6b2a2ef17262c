"""Turns ways into dense, turn-aware arrays, and keeps them in the road file."""
