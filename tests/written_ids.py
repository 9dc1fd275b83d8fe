"""Ids as people write them, and the joints they name: `asbuilt find` and the search of the map are held to this table.

Everything is invented. JOINTS are (joint_id, number on the paper) in the order of the record; WRITTEN are a text, the
ids that it names, best first, and whether it names one joint surely.
"""

JOINTS = (
    ("C-097", "C-097"), ("C-098", "C-098"), ("C-100", "C-100"), ("c-0981", "c-0981"), ("0042", "0042"),
    ("TI-4", "TI-4"), ("7/M1/2026-03-01", "7"), ("7/M2/2026-03-02", "7"), ("B110", "W-0815"), ("B111", "C-100"),
    ("LÜ-003", "LÜ-003"), ("Joint 15", "Joint 15"), ("Joint 5", "Joint 5"), ("5", "5"),
)  # fmt: skip
WRITTEN = (
    ("C-098", ("C-098",), True),
    ("c-098", ("C-098",), True),
    ("  C-098 ", ("C-098",), True),
    ("c98", ("C-098",), True),
    ("C 98", ("C-098",), True),
    ("c_0098", ("C-098",), True),
    ("joint c98", ("C-098",), True),
    ("Joint C-098", ("C-098",), True),
    ("42", ("0042",), True),
    ("ti4", ("TI-4",), True),
    ("TI - 04", ("TI-4",), True),
    ("lü3", ("LÜ-003",), True),
    ("7/m2", ("7/M2/2026-03-02",), True),
    ("7 M2", ("7/M2/2026-03-02",), True),
    ("7", ("7/M1/2026-03-01", "7/M2/2026-03-02"), False),
    ("w815", ("B110",), True),
    ("C-100", ("C-100",), True),  # an id comes before the number of another joint
    ("c100", ("C-100",), True),
    ("C-09", ("C-097", "C-098", "c-0981"), False),
    ("c9", ("C-097", "C-098", "c-0981"), False),
    ("098", ("C-098", "c-0981"), False),
    ("0815", ("B110",), True),
    ("Joint 5", ("Joint 5",), True),  # an id that begins so itself comes before the number alone
    ("joint 05", ("Joint 5",), True),
    ("joint 15", ("Joint 15",), True),
    ("joint 42", ("0042",), True),
    ("---", (), False),
    ("zzz", (), False),
)
