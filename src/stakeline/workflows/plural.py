"""How many of what, in words."""


def counted(number, word):
    """Return a number with a word that takes an s where there is not one of it."""
    return f"{number} {word}{'' if number == 1 else 's'}"
