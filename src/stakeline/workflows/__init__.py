"""The stages of the work: the only place where science meets files."""
