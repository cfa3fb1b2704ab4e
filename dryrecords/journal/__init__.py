"""The trail every write leaves: history and change feed, stale marks, answers already given. Ids, no foreign keys."""
