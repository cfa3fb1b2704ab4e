"""Checks of the project, by part."""
