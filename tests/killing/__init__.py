"""Commands killed at any moment: what starts and kills them, and what must hold afterwards."""
