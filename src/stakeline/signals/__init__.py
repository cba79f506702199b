"""What is in the signals before any position: pairs, combinations, slips, clock jumps."""
