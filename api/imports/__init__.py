"""Seasons kept in spreadsheets: what their columns mean, what their cells say, and how they become records."""
