"""One scenario through one year or many."""
