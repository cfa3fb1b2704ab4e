"""What exists: dryers with fans and burner, fuel tanks, bins, moisture meters."""
