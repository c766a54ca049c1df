"""Which tasks fit, when to run each, and what is left out? With how many more fit."""
