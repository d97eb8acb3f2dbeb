"""The choice among patterns, its proof and its replay."""
