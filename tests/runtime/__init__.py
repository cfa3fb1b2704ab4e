"""The embedded engines and the process tree, with real processes."""
