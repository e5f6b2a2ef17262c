"""A local page for people who will not type commands. It calls the workflow and nothing else."""
