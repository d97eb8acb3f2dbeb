"""Readings of the bank and the machines, and what a new plan takes from them."""
