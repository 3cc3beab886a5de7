"""What the documents say: one list of sections, made once of a result."""
