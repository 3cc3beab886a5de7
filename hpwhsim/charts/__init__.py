"""Pictures of a year: its weeks, the map of COP, carbon over the service life."""
