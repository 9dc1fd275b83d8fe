"""The cautions that travel with every output."""

DECIDING = (
    "Verdicts and gaps are prompts for review. Decisions belong to the responsible engineer; local codes, the"
    " contract, the qualified procedure and licensed practice govern."
)
CAUTIONS = (
    "This is not a utility locate. Before any digging contact the local one-call or dig-safe service and the"
    " owner, wait for the marks, and expose the pipe by hand or by vacuum.",
    "Positions are estimates with the stated method and 95 % radius. They were computed, not surveyed, unless"
    " placed_by says survey. A fix tells where the machine stood, which need not be where the pipe lies.",
    "Polyethylene cannot be found by conductive locators without a working tracer wire. Other services are not shown.",
    "A joint in window is not proof of a sound joint, and a missing record is not proof of a missing joint.",
    DECIDING,
    "May hold sensitive infrastructure and personal data: keep and share it accordingly.",
)

# Where one line has room: on a card, in a waypoint.
IN_SHORT = "Not a utility locate: have it located before digging, and expose the pipe by hand or by vacuum."
