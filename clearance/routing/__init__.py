"""The coach's mask and penalties, and the searches over the network."""
