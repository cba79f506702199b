"""The invented station of a new campaign, with lines changed; for the tests of the verb plan."""

import re
from importlib import resources

from stakeline.workflows.plan_description import describe_station

EXAMPLE = resources.files("stakeline.campaign").joinpath("templates", "plan_HV01.toml")


FRAME = "[frame]\nlegs = 3\nembedded_m = 1.5\n\n"  # carries panels and turbine
ON_SURFACE = ('place = "snow" ', 'place = "surface" ')


def station_text(**changed):
    """Return the example's text; ``key="value"`` replaces the first line of that key."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for key, value in changed.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
        assert count == 1, key
    return text


def guyed_text(count):
    """Return the example's text with so many guys."""
    return re.sub(r"(\[guys\]\ncount = )\d+", rf"\g<1>{count}", station_text())


def framed_text(**changed):
    """Return the example's text with a frame that carries panels and turbine."""
    return station_text(**changed).replace("[snow]", FRAME + "[snow]")


def described(folder, name="HV01", text=None):
    """Return the description of a station file written to a folder."""
    path = folder / f"{name}.toml"
    path.write_text(station_text(name=f'"{name}"') if text is None else text, encoding="utf-8")
    return describe_station(path)
