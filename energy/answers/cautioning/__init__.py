"""What `cautions` rests on: the rules that raise one, in rooms by what is at stake."""
