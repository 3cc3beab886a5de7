"""The command: parse, call, print."""
