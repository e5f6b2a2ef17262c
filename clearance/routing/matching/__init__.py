"""How a line is brought onto the roads, step by step."""
