"""What a shop's record knows beside a teardown: the unit as it was before, its linings in other units."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from wearview.record.followed import Followed
from wearview.record.history import Teardown


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """`earlier` teardowns of the unit, newest first, and each lining of this one over all units, by name."""

    earlier: tuple[Teardown, ...] = ()
    linings: Mapping[str, Followed] = field(default_factory=dict)

    @property
    def stamp(self) -> tuple[str, ...]:
        """Changes with the earlier teardowns. What is known of a lining is as of the day it is told."""
        elements = [element for teardown in self.earlier for element in teardown.elements]
        gradings = (grading.document_sha256 for element in elements for grading in element.gradings)
        verdicts = (f"{element.name} {len(element.verdicts)}" for element in elements)
        names = (f"{teardown.name} {teardown.mileage}" for teardown in self.earlier)
        return (*names, *gradings, *verdicts)


NOTHING_MORE = Known()
