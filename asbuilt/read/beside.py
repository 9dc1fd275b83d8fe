"""The side files of a route together, as placing and the hand-over ask for them."""

from dataclasses import dataclass

import pandas as pd

from asbuilt.read.alignments import Designs
from asbuilt.read.context import Surroundings, read_context
from asbuilt.read.decisions import Decisions, read_decisions
from asbuilt.read.features import Features, read_features
from asbuilt.read.found import FoundRows, read_found
from asbuilt.read.people import Listing, read_machines, read_people
from asbuilt.read.plan import PlanRows, read_plan
from asbuilt.read.positions import Target
from asbuilt.read.sections import Sections, read_sections
from asbuilt.read.sides import Survey, Tally, read_survey, read_tally
from asbuilt.settings import Settings


@dataclass(frozen=True)
class Sides:
    """The side files of a route."""

    tally: Tally
    survey: Survey
    people: Listing
    machines: Listing
    sections: Sections
    decisions: Decisions
    plan: PlanRows
    features: Features
    found: FoundRows
    around: Surroundings

    @property
    def pipe_length_m(self) -> pd.Series:
        """Length of each pipe that has a number, by that number."""
        pipes = self.tally.rows[self.tally.rows["pipe"].notna()]
        return pd.Series(pipes["length_m"].to_numpy(float), index=pipes["pipe"].to_numpy(object), dtype=float)

    @property
    def length_in_string_m(self) -> pd.Series:
        """Length of each pipe that has a place in a string, by string and order (from 1, in the order of fusing)."""
        pipes = self.tally.rows[self.tally.rows["string"].notna() & self.tally.rows["order"].notna()]
        at = pd.MultiIndex.from_arrays([pipes["string"].to_numpy(object), pipes["order"].to_numpy(float)])
        return pd.Series(pipes["length_m"].to_numpy(float), index=at, dtype=float)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was found in the files and used as found, and each row that was left out, with its reason.

        Decisions that were left out are told with those that cannot be tied to anything (`judge.decisions`).
        """
        lists = (self.tally, self.survey, self.sections, self.plan, self.features, self.found)
        left_out = pd.concat([of.set_aside for of in lists])
        rows = left_out[["source_file", "source_row", "reason"]].itertuples(index=False)
        said = [f"{file} row {row}: left out, {why}" for file, row, why in rows]
        notes = (*self.tally.notes, *self.survey.notes, *self.sections.notes, *self.decisions.notes, *self.plan.notes)
        notes = (*notes, *self.features.notes, *self.found.notes)
        return (*notes, *said, *self.people.told, *self.machines.told, *self.around.notes)


def read_sides(settings: Settings, target: Target, designs: Designs) -> Sides:
    """Read the side files. Raises InputError with the problems of all files of a kind."""
    return Sides(
        tally=read_tally(settings),
        survey=read_survey(settings, target),
        people=read_people(settings),
        machines=read_machines(settings),
        sections=read_sections(settings, designs),
        decisions=read_decisions(settings),
        plan=read_plan(settings, designs),
        features=read_features(settings, target),
        found=read_found(settings, target),
        around=read_context(settings, designs),
    )
