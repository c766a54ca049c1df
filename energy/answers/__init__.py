"""One folder a question: values in, values out. What answers share is asked of the `Budget`."""
