"""`python -m asbuilt` is the command `asbuilt`."""

from asbuilt.cli import main

main()
