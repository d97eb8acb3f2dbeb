"""The check-up: whether the yard's own wiring, bank, roof and batteries let a plan happen."""
