"""Weather files of all formats, and the repair of what is wrong in them."""
