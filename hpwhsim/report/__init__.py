"""What the user reads: summary, files, pictures."""
