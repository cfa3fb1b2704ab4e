"""What is derived and can be rebuilt: batch results, site seasons, and the tasks that work off stale marks."""
