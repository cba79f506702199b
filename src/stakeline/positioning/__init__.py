"""Positions of one antenna: model, filter, smoother, honest covariances."""

from .solve import solve as solve
