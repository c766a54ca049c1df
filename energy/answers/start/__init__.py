"""Where a person starts: a new plan, the load profiles, one of their own."""
