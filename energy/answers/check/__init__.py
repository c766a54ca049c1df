"""Does a day of work, or a night out, stay powered? With the rest of a day under way."""
