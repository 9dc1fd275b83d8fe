"""What was read, placed and judged becomes the tables of the hand-over: names, order, stations, geometry, counts."""
