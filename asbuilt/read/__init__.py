"""Files become stated tables here: strings become types, each bad row is reported with its place."""
