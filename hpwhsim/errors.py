"""The errors a user can cause: one clear message each, no traceback at the command."""


class InputError(Exception):
    """The input is wrong.

    The message is one line that names the file, the key, what was given and what is allowed; the
    command prints it as it stands and exits with 2.
    """


class OutOfRangeError(InputError, ValueError):
    """A number lies outside the range in which the method holds."""
