"""Tests of spreadsheets brought in."""
