"""A fleet of devices for a season, on a bad network against the real server, and what must be true of it after."""
