"""The subcommands of `loftbook`: options, messages and exit codes; the work is done elsewhere."""
