"""Which cable and which fuse for each run, and do the strings suit the input?"""
