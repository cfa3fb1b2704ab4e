"""dryrecords: multi-farm grain drying records."""
