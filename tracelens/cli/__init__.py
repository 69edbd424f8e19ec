"""The command `tracelens`: one module a subcommand, and nothing computed here."""
