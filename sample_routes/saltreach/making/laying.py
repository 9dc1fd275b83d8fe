"""The invented main: its centreline, the pipes laid along it, and the true place of each joint.

Metres in EPSG:7855. A chainage is here the distance along the line from its first vertex.
"""

import numpy as np
import pandas as pd

SEED = 630

# Straights (length), bends (radius, turn in degrees, + to the right) and sharp corners (turn): 90 degree fittings.
ORIGIN, START_HEADING, VERTEX_STEP = (680_000.0, 5_252_000.0), 62.0, 8.0
SHAPE = (
    ("straight", 400, 0),
    ("bend", 180, -35),
    ("straight", 330, 0),
    ("bend", 120, 48),
    ("straight", 420, 0),
    ("bend", 400, -22),
    ("straight", 520, 0),
    ("bend", 75, 30),
    ("straight", 300, 0),
    ("bend", 100, -45),
    ("straight", 174, 0),
    ("bend", 60, 90),
    ("straight", 240, 0),  # down
    ("corner", 0, -90),
    ("straight", 8, 0),  # across
    ("corner", 0, -90),
    ("straight", 240, 0),  # and back, 8 m beside itself
    ("bend", 60, 90),
    ("straight", 300, 0),
    ("bend", 250, 25),
    ("straight", 280, 0),
    ("bend", 55, -33),
    ("straight", 345, 0),
)

# A span is laid in one go by one crew; the joint at the ahead end of a pipe is made by the crew of its span.
CREW_OF = {"A1": "A", "A2": "A", "string": "B", "B1": "B"}
CREW_OF |= dict.fromkeys(("C1", "elbow 1", "between elbows", "elbow 2", "C2"), "C")
NUMBER = {"A": "{:04d}", "B": "B{:03d}", "C": "C-{:03d}"}
FIRST_NUMBER = {"A": 1, "B": 101, "C": 1}
A1_LENGTH, A2_LENGTH, STRING_STICKS, C1_STICKS = 739, 741, 21, 12

STICK, STICK_SD = 12.0, 0.03  # laid length: after facing and beads
ELBOW = 2.0  # from face to face, along both legs
LAID_ASIDE = {"0045": 0.2, "0046": 1.1, "0047": 3.5, "0048": 1.1, "0049": 0.2}  # offset of one joint and neighbours
CUT_OUT, CUT_BACK = "0088", 0.2  # each of the two pipes lost this much when the joint was cut out and made again


def centreline() -> np.ndarray:
    """Vertices (n, 3), to the millimetre. The vertices of a bend lie on its arc."""
    heading, chords, headings = START_HEADING, [], []
    for _, size, turn in SHAPE:
        angle = np.radians(abs(turn))
        n = max(1, int(np.ceil((size * angle if turn else size) / VERTEX_STEP)))
        chords.append(np.full(n, 2 * size * np.sin(angle / n / 2) if turn else size / n))
        headings.append(heading + turn / n * (np.arange(n) + 0.5))
        heading += turn
    chord, azimuth = np.concatenate(chords), np.radians(np.concatenate(headings))
    steps = np.column_stack([chord * np.sin(azimuth), chord * np.cos(azimuth)])[chord > 0]
    xy = np.vstack([np.zeros(2), np.cumsum(steps, axis=0)]) + ORIGIN
    along = np.append(0, np.cumsum(np.hypot(*steps.T)))
    height = 6 + 2.5 * np.sin(along / 270) + 0.8 * np.sin(along / 65)
    return np.round(np.column_stack([xy, height]), 3)


def distances(line: np.ndarray) -> np.ndarray:
    """Distance of each vertex from the first one, in plan."""
    return np.append(0, np.cumsum(np.hypot(*np.diff(line[:, :2], axis=0).T)))


def corners(line: np.ndarray) -> np.ndarray:
    """Distances of the two sharp corners."""
    step = np.diff(line[:, :2], axis=0)
    turn = np.diff(np.unwrap(np.arctan2(step[:, 0], step[:, 1])))
    return distances(line)[1:-1][np.abs(turn) > np.radians(45)]


def locate(line: np.ndarray, chainage: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """Points (n, 2) at a distance along the line and an offset from it, + right."""
    along = distances(line)
    i = np.clip(np.searchsorted(along, chainage, side="right") - 1, 0, len(along) - 2)
    unit = (np.diff(line[:, :2], axis=0) / np.diff(along)[:, None])[i]
    right = np.column_stack([unit[:, 1], -unit[:, 0]])
    return line[i, :2] + (chainage - along[i])[:, None] * unit + offset[:, None] * right


def fill(distance: float, sticks: np.ndarray) -> np.ndarray:
    """As many sticks as fit into a distance, and the pup that closes it."""
    n = np.searchsorted(np.cumsum(sticks), distance)
    return np.append(sticks[:n], distance - sticks[:n].sum())


def sticks_of_a(random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Lengths along the line in crew A's two spans, with the joint laid aside and the joint cut out."""
    first, second = random.normal(STICK, STICK_SD, (2, 100))
    askew = slice(int(min(LAID_ASIDE)) - 1, int(max(LAID_ASIDE)) + 1)
    first[askew] = np.sqrt(first[askew] ** 2 - np.diff([0, *LAID_ASIDE.values(), 0]) ** 2)
    first = fill(A1_LENGTH, first)
    before = int(CUT_OUT) - len(first)
    second[before : before + 2] -= CUT_BACK
    return first, fill(A2_LENGTH, second)


def laid_pipes(line: np.ndarray) -> pd.DataFrame:
    """Every pipe in the order of chainage: its span, its length along the line, its serial number."""
    random, end, (one, two) = np.random.default_rng(SEED), distances(line)[-1], corners(line)
    a1, a2 = sticks_of_a(random)
    string, c1 = (random.normal(STICK, STICK_SD, n) for n in (STRING_STICKS, C1_STICKS))
    b1_length = one - ELBOW / 2 - sum(span.sum() for span in (a1, a2, string, c1))
    b1, c2 = (fill(d, random.normal(STICK, STICK_SD, 150)) for d in (b1_length, end - two - ELBOW / 2))
    spans = {"A1": a1, "A2": a2, "string": string, "B1": b1, "C1": c1}
    spans |= {"elbow 1": [ELBOW], "between elbows": [two - one - ELBOW], "elbow 2": [ELBOW], "C2": c2[::-1]}
    pipes = pd.DataFrame({"span": np.repeat(list(spans), [len(s) for s in spans.values()])})
    pipes["length"] = np.concatenate(list(spans.values()))
    mark = np.where(pipes.span.str.startswith("elbow"), "-elbow", np.where(pipes.length < 11.5, "-cut", ""))
    serial = random.permutation(len(pipes)) + 2001
    return pipes.assign(serial=[f"SR{n}{m}" for n, m in zip(serial, mark, strict=True)])


def real_joints(line: np.ndarray) -> pd.DataFrame:
    """Every joint that lies in the line, in the order of chainage, with its number and its true place."""
    pipes = laid_pipes(line)
    back, ahead = pipes[:-1].reset_index(drop=True), pipes[1:].reset_index(drop=True)
    joints = pd.DataFrame({"span": back.span, "pipe_a": back.serial, "pipe_b": ahead.serial})
    joints["chainage"] = back.length.cumsum()
    elbow = (back.span + ahead.span).str.contains("elbow")
    joints["kind"] = np.select([elbow, back.span == ahead.span], ["fitting", "production"], "tie-in")
    joints["crew"] = joints.span.map(CREW_OF)
    joints["in_string"] = (joints.span == "string") & (joints.kind == "production")
    joints["turn"] = working_order(joints)
    joints["joint"] = numbers(joints)
    wander = np.where(elbow, 0, 0.12 * np.sin(joints.chainage / 37))
    joints["offset"] = joints.joint.map(LAID_ASIDE).fillna(pd.Series(wander))
    joints["replaces"] = np.where(joints.joint == CUT_OUT, CUT_OUT, "")
    joints["joint"] = joints.joint.replace(CUT_OUT, CUT_OUT + "R")
    joints["easting"], joints["northing"] = locate(line, joints.chainage.to_numpy(), joints.offset.to_numpy()).T
    return joints


def working_order(joints: pd.DataFrame) -> pd.Series:
    """Turn of each joint in its crew's work: string first, tie-ins last; the string and crew C went backwards."""
    stage = np.select([joints.in_string, joints.kind == "tie-in"], [0, 2], 1)
    backwards = joints.in_string | (joints.crew == "C")
    key = pd.DataFrame({"crew": joints.crew, "stage": stage})
    key["along"] = joints.chainage.where(~backwards, -joints.chainage)
    return key.sort_values(["crew", "stage", "along"]).groupby("crew").cumcount()


def numbers(joints: pd.DataFrame) -> list[str]:
    """Joint numbers: each crew counts in its working order, tie-ins are counted along the line."""
    tie_in = (joints.kind == "tie-in").cumsum()
    return [
        f"TI-{t}" if kind == "tie-in" else NUMBER[crew].format(FIRST_NUMBER[crew] + turn)
        for t, kind, crew, turn in zip(tie_in, joints.kind, joints.crew, joints.turn, strict=True)
    ]
