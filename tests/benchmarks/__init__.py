"""How fast it is, each time against a peer that is measured in the same run: `python -m tests.benchmarks`."""
