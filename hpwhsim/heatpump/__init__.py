"""The machine: refrigerants, the cycle, and its performance map."""
