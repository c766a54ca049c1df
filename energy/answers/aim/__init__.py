"""Where should the panels point, and is turning them worth getting up for?"""
