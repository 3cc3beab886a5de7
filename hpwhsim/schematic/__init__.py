"""The plant as a drawing with its year's heat."""
