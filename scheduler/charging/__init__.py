"""Chargers and plug patterns (R7 to R10)."""
