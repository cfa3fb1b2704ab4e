"""Checks of the numeric core against published values, the source beside each."""
