"""What grain is paid for and what drying costs: discount schedules, rates, audits and statements."""
