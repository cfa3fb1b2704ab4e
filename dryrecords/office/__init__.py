"""Pages for people who would rather look than read: server-rendered, signed in by session."""
