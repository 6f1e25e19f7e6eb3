"""The tables and keys of record.toml."""
