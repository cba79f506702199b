"""Readers and writers of the open formats, one folder per format; they know only the records."""
