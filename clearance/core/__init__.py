"""Plain frozen values and the grammar of height, condition and access tags. Opens nothing."""
