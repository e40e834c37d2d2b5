"""A photo as the report shows it."""

from dataclasses import dataclass

from wearview.report.words import LIGHTS, NOT_GRADED, hindering, places, problem_words, refused
from wearview.terms import TWO_LIGHTS, Problem


@dataclass(frozen=True, slots=True)
class PhotoView:
    """A photo: `number` counts through the report, `positions` are the labels of its parts; `light` is None
    where it was not graded; `second_light` is the file of the photo that it was read with, the lamp moved."""

    number: int
    element: str
    file: str
    stem: str
    sha256: str
    overlay_sha256: str | None
    taken_at: str | None
    light: str | None
    positions: tuple[str, ...]
    problems: tuple[Problem, ...]
    second_light: str | None = None

    @property
    def alt(self) -> str:
        """The photo for those who cannot see it; the table of parts says what it shows."""
        where = f", {places(self.positions)}" if self.positions else ""
        return f"Photo {self.number}, {self.element}{where}"

    @property
    def shows(self) -> str:
        """The positions that it shows, or the item that it is of; empty where no part was found in it."""
        return places(self.positions) if self.positions else self.element if self.light is None else ""

    @property
    def about(self) -> str:
        """Its file, when it was taken, and the file of its second light."""
        taken = f", taken {self.taken_at.replace('T', ' ')}" if self.taken_at else ""
        lit = f"; read by {TWO_LIGHTS}, with {self.second_light}" if self.second_light else ""
        return self.file + taken + lit

    @property
    def colour_from(self) -> str:
        """What its colours were taken from."""
        return NOT_GRADED if self.light is None else LIGHTS[self.light]

    @property
    def refused(self) -> tuple[str, ...]:
        """Why no part of it was graded, in a sentence or two; empty where one may be."""
        return () if self.positions else refused(problem.name for problem in self.problems)

    @property
    def said_of_problems(self) -> tuple[str, ...]:
        """What casts doubt on it; where no part was found, why, and what to do."""
        told = self.problems if self.positions else hindering(self.problems)
        return tuple(problem_words(problem, remedy=not self.positions) for problem in told)
