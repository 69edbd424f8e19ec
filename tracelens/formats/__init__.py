"""Files other than the event log: system files, budgets and task sets in TOML."""
