"""Stored records against fresh ones."""
