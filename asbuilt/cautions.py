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

# Beside the others on a sheet that a crew takes along.
ON_SITE = (
    "Confirm the joint by its marks and its neighbours. If they do not match, stop and ask.",
    "Depth and ground may have changed since. Treat the pipe as live and under pressure until the owner says otherwise;"
    " on gas mind static discharge, by the owner's procedure.",
    "How far from the marks machines may dig, local law says. A computed position replaces no survey by a licensed"
    " person where law or contract asks for one. Look for a newer revision before use.",
)

# Where one line has room: on a card, in a waypoint.
IN_SHORT = "Not a utility locate: have it located before digging, and expose the pipe by hand or by vacuum."
