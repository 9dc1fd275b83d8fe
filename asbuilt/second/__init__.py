"""Second uses of a hand-over: everything in it is read back as if a stranger had made it."""
