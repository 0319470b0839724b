"""Pages that are shipped: what each finding is, each command, the bench guide."""
