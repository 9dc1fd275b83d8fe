"""How far the line has come, how fast, and when it may be done: figures of any evening, from the tables."""
