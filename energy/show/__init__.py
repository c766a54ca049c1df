"""The toolkit with which answers are shown: figures, dates, the page and axes of a picture, files.

It knows no answer: words, tables and drawings live beside the answer that they show.
"""
