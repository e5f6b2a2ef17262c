"""The commands, one a file. They only translate between the terminal and the workflow."""
