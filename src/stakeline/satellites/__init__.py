"""Satellites: where they are, what their clocks show, how they are turned, where they radiate."""
