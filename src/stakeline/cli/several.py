"""Options of several values: ``--orbits A B``, ``--orbits A --orbits B``, ``--orbits A,B``."""

import click


class SeveralOption(click.Option):
    """An option that takes all values up to the next option."""

    def __init__(self, *names, **settings):
        super().__init__(*names, multiple=True, **settings)

    def type_cast_value(self, context, value):
        """Split values at commas, then check each as usual."""
        parts = [part for text in value or () for part in str(text).split(",") if part]
        return super().type_cast_value(context, parts)


class SeveralCommand(click.Command):
    """A command whose :class:`SeveralOption` options may be followed by more than one value.

    Arguments therefore stand before the options, or after ``--``.
    """

    def parse_args(self, context, args):
        """Write ``--orbits A B`` as ``--orbits A --orbits B``, then parse as usual."""
        names = {n for p in self.params if isinstance(p, SeveralOption) for n in p.opts}
        return super().parse_args(context, spread(list(args), names))


def spread(arguments, names):
    """Return the arguments with the name of a several-value option before each of its values."""
    result, current, fresh = [], None, False
    for position, argument in enumerate(arguments):
        if argument == "--":
            return result + arguments[position:]
        if argument.startswith("-") and argument != "-":
            name, equals, _ = argument.partition("=")
            current, fresh = (name if name in names else None), not equals
            result.append(argument)
        elif current is None or fresh:
            result.append(argument)
            fresh = False
        else:
            result += [current, argument]
    return result
