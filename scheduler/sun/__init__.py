"""The sun: weather readers, array power (R2) and the three suns."""
