"""The command line; the only part that talks to typer and reads the clock."""
