"""Whole studies: a year of one scenario, stored records against a fresh run."""
