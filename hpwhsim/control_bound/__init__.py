"""What no control of the plant can be below: a relaxed linear program of the year."""
