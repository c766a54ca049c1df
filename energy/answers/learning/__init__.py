"""What `learn` rests on: readings and logs, the day as it was done, the fit, a person's own kit."""
