"""One file per verb: its options, what it does, its help."""
