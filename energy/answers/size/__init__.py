"""How large must panels and pack be? With kits, the worksheet and whole years."""
