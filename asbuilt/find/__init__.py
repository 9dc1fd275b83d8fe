"""One joint found again in a hand-over: by its id, a chainage or a position; and a sheet to take along."""
