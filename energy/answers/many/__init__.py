"""Many plans asked the same: what is where, and in which plan."""
