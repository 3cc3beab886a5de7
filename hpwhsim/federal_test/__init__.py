"""The 24-hour and first-hour tests of 10 CFR 430 on a scenario's unit."""
