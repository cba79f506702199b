"""How the ice moves: velocity, tides, vertical motion and strain from positions, with noise."""
