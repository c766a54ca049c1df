"""What `choose` rests on: the options of a plan, laid on slots, and the programme over them."""
