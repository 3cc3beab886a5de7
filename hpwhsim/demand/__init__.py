"""What the residents use: patterns of the day and the draws themselves."""
