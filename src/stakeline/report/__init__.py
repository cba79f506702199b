"""Figures, tables and field sheets: draws and writes, computes nothing."""
