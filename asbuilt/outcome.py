"""What became of a source row: each ends in exactly one of these."""

JOINT = "joint"
DUPLICATE = "duplicate"  # says nothing more than another row
SUPERSEDED = "superseded"  # cut out, and replaced by another record
TRIAL = "trial"
SET_ASIDE = "set aside"  # could not become a joint; kept with its reason

KEPT = (JOINT, SUPERSEDED, TRIAL)  # these stand in the table of joints; only a JOINT is in the line and counted
