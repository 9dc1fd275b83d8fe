"""Candidates on the line become a place for each joint: pure functions, frame in, frame out, same index."""
