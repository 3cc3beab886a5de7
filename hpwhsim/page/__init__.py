"""The page of HTML of a result."""
