"""What a year gives: declared keys, records on disk, files, heat flows."""
