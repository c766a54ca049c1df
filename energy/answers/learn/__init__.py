"""What a person's own kit really takes and gives, from readings of its display."""
