"""Weather made from few figures: a stated sky, the climate table, monthly means."""
