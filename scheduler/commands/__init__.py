"""What each command does, free of the command line: from files and flags to results and renderings."""
