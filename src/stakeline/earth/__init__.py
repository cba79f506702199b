"""The Earth under the antenna: shape, frames, rotation, tides, loading, air."""
