"""The embedded default: PostgreSQL and Valkey from wheels, and the process tree around them. Knows no domain."""
