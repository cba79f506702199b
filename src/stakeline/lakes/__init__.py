"""Lakes below the ice: when they fill and drain, how much water, and where it goes."""
