"""One drive into findings in driving order."""
