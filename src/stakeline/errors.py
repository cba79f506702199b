"""Errors a person can act on: what was given, what was expected, where, and what to do."""


class StakelineError(Exception):
    """Any problem that is the input's and not ours; the command line prints it in one line."""

    exit_code = 1


class FormatError(StakelineError):
    """A file does not follow its standard.

    Parameters
    ----------
    file : str or path
        Name of the file.
    line : int or None
        Line number, counted from 1; None where the whole file is meant.
    found, expected : str
        What stands there, and what the standard asks for.
    remedy : str, optional
        What a person can do about it.
    """

    def __init__(self, file, line, found, expected, remedy=""):
        self.file, self.line, self.found = str(file), line, found
        self.expected, self.remedy = expected, remedy
        where = f"{file}:{line}" if line else f"{file}"
        message = f"{where}: found {found}; expected {expected}"
        super().__init__(f"{message}; {remedy}" if remedy else message)

    def __reduce__(self):
        return type(self), (self.file, self.line, self.found, self.expected, self.remedy)


class SettingsError(StakelineError):
    """A setting, an option or a campaign file says something impossible."""

    exit_code = 2


class ProductError(StakelineError):
    """Orbits, clocks or other products do not cover what is asked of them."""


class SolutionError(StakelineError):
    """A position cannot be estimated honestly from what was given."""


class TimeError(StakelineError):
    """A time is outside what a scale, a table or a file can hold."""
