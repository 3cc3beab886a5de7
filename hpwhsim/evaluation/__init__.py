"""A simulated plant and its baseline to carbon, bills, savings, life cycle, checks."""
