"""What comes in and goes out: units, user CSV files, disk cache, text safe to print, picture files."""
