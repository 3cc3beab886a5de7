"""Many years: sweeps and sensitivity."""
