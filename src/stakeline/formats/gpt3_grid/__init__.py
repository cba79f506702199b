"""Climate grids of the GPT3 kind (5 degrees): see SPEC.md."""

from .reader import read as read
