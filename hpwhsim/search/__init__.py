"""The best of many plants: choices, objectives and limits, and the front between two objectives."""
