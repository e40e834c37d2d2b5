"""The contract's terms and the headings as reports and pages write them, each once."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from wearview.files import base_name
from wearview.record import (
    HIDDEN,
    KEPT,
    KM_PER_MILE,
    NOT_DONE,
    OVER,
    RENEWED,
    STEP_KM,
    UNDER,
    UNTOLD,
    WITHIN,
    Comparison,
    Followed,
    Heat,
    Measured,
    Mileage,
    PartLine,
    Profile,
    Teardown,
    ThenNow,
    Verdict,
)
from wearview.report.packpic import PackPicture
from wearview.terms import (
    FOUND,
    FRICTION,
    GAP,
    NOT_LOOKED_AT,
    NOTHING_FOUND,
    ORDER_DOUBTS,
    PROBLEMS,
    REACTION,
    STEEL,
    Problem,
    how_many,
    worth_saying,
)

TITLES = {
    "report": "Teardown report",
    "glance": "At a glance",
    "legend": "How to read the levels",
    "whole": "Verdict on the whole pack",
    "shows": "What the pack shows",
    "checks": "Things to check",
    "photos": "Photos",
    "parts": "Part by part",
    "named": "Parts outside the pack",
    "before": "Then and now",
    "earlier": "Verdicts on earlier photos",
    "beside": "Beside the packs",
    "measured": "Measured",
    "cautions": "Cautions",
    "evidence": "Where this comes from",
}
GLANCE_HEADS = ("Element", "Most heat seen", "What was replaced or left in, and why")
LEGEND_HEADS = ("Level", "Lining (friction plate, band)", "Steel and reaction plate")
PART_HEADS = ("Position", "Part", "Heat level", "What the photo shows", "Technician's verdict")
BEFORE_HEADS = ("Position", "Then", "Verdict then", "Now", "What became of it")
PHOTO_HEADS = ("Photo", "File", "Colour taken from", "SHA-256 of the file")
FOUND_HEADS = ("Item", "What was found")
MEASURED_HEADS = ("What", "Measured", "Limit, and where it is from", "Result")
FOUND_WORDS = {
    FOUND: "Found",
    NOTHING_FOUND: "Looked at, nothing found",
    NOT_LOOKED_AT: "Not looked at, left out on purpose",
    NOT_DONE: "Not done",
}
OUTCOME_WORDS = {
    WITHIN: "within the limit",
    UNDER: "Out of limit: less than allowed",
    OVER: "Out of limit: more than allowed",
    None: "no limit to compare with",
}
ABOUT_LIMITS = (
    "A limit is what the technician took from the source named beside it. Without one, nothing is said of a "
    "value."
)
ABOUT_PLACES = "Counted among the friction plates that a pack's photos show, from its reaction end."
NOT_GRADED = "not graded"
NOTHING = "Nothing was graded or judged so far."
UNKNOWN_LEVEL = "cannot tell: the photo does not show enough to choose a level"
ABOUT_LEVELS = (
    "The level describes heat that a photo shows, compared with clean lining or bare metal. The technician's "
    "verdict stands beside the level; neither changes the other, and they may differ, for reasons such as "
    "age, wear, shop policy or the customer's wish. Delta E counts how far a colour is off the clean "
    "lining's: the larger, the further."
)

DECISIONS = {
    "reuse": "reuse",
    "replace": "replace",
    "resurface": "resurface",
    "leave": "leave in",
    "unsure": "undecided",
}
DONE = {
    "replace": "Replaced",
    "reuse": "Left in (reused)",
    "leave": "Left in",
    "resurface": "Left in (resurfaced)",
    "unsure": "Not decided",
}
REASONS = {
    "heat": "heat",
    "wear": "wear",
    "age": "age",
    "wish": "customer's wish",
    "policy": "shop policy",
    "unavailable": "part not available",
    "other": "other reason",
}
LIGHTS = {
    "mat": "printed mat",
    "chart": "colour chart",
    "card": "grey card",
    "paper": "white paper",
    "metal": "bare metal of the part",
    "reference": "the reference photo",
    "none": "nothing of known colour",
}
PATTERNS = {
    "reaction end": "Heat lies towards the reaction end.",
    "apply end": "Heat lies towards the apply end.",
    "middle": "Heat lies in the middle of the pack.",
    "whole pack": "Heat shows through the whole pack.",
    "single plate": "Heat is heaviest on one plate.",
    "one side": "Heat shows on one side of the plates.",
    "none": "No plate shows heat in its photo.",
    "cannot tell": "The photos do not tell where heat lies.",
}
FATES = {RENEWED: "new since then", KEPT: "left in then", UNTOLD: "nothing decided then"}
OTHER_RULES = "The two were graded by different rules, so a level may mean another amount of heat."
CLEANEST_ONLY = "compared with the cleanest plate only"
NO_VERDICT = "no verdict given"
# Problems of which a part's own reasons say more than their common words do.
SAID_BY_THE_PART = {"uncertainty spans grades", "does not fit the reference"}

_MARKS = {
    FRICTION: "\u25cf friction plate",
    STEEL: "\u25a0 steel plate",
    REACTION: "\u25c6 reaction plate",
}


def day(moment: str) -> str:
    """Local date and time to the minute of an ISO 8601 text with its offset."""
    return datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M")


def level_words(level: int | None, name: str | None) -> str:
    """A heat level as tables write it: "Level 3: burnt", or "Cannot tell"."""
    return "Cannot tell" if level is None else f"Level {level}: {name}"


def reasons(grade: dict[str, Any]) -> list[str]:
    """A grade's reasons, a number and its per cent sign on one line, without what stands beside the level."""
    said = (each for each in grade.get("because", ()) if each.rstrip(".").lower() != CLEANEST_ONLY)
    return [_unbroken(each) for each in said]


def doubts(part: dict[str, Any], *, remedies: bool) -> list[str]:
    """What casts doubt on a part's level, or why it has none and what to do, a paragraph each.

    A gap in the row is no word on the part behind it: `gap_words` has it.
    """
    own = part.get("ungraded_because", [])
    listed = [known_problem(name) for name in worth_saying(part["problems"]) if name != GAP]
    left = [one for one in listed if not own or (one.name not in SAID_BY_THE_PART and one.text not in own)]
    return [
        *([_unbroken(" ".join(own))] if own else []),
        *(problem_words(one, remedy=remedies) for one in left),
    ]


def _unbroken(sentence: str) -> str:
    return sentence.replace(" %", "\u00a0%")


def known_problem(name: str) -> Problem:
    """A problem by its name; one that a newer program listed is shown by its name alone."""
    return PROBLEMS.get(name) or Problem(name, f"{name.capitalize()}.", "", False)


def refused(names: Iterable[str]) -> tuple[str, ...]:
    """The texts of those problems, by their names, for which a photo or part has no grade."""
    return tuple(one.text for one in map(known_problem, worth_saying(names)) if one.refuses)


def order_words(document: dict[str, Any]) -> list[str]:
    """Why positions in a document may be wrong, and what to do."""
    named = [name for photo in document["photos"] for name in photo["quality"]["problems"]]
    return [problem_words(PROBLEMS[name], remedy=True) for name in ORDER_DOUBTS if name in named]


def photo_refused(photo: dict[str, Any]) -> str:
    """Why a photo of a document has no part, and what to do: by what refuses it, where anything does."""
    listed = [known_problem(name) for name in photo["quality"]["problems"]]
    return " ".join(problem_words(one, remedy=True) for one in hindering(listed))


def hindering(listed: Sequence[Problem]) -> Sequence[Problem]:
    """Of the problems of a photo without a graded part those that refuse it; all where none does."""
    return [one for one in listed if one.refuses] or listed


def problem_words(problem: Problem, *, remedy: bool) -> str:
    """A problem in words, with what to do about it where that is wanted."""
    return " ".join([problem.text, *([problem.remedy] if remedy and problem.remedy else [])])


def line_words(line: PartLine | None) -> str:
    """A part's level as tables write it; what stands where no photo shows one, or it is hidden."""
    if line is None:
        return "not photographed"
    if HIDDEN in line.part["problems"]:
        return "Hidden until the verdict is in"
    return level_words(line.level, line.part["grade"]["name"] if line.part["grade"] else None)


def places(labels: tuple[str, ...]) -> str:
    """Positions by their labels: "position 3", "positions 1, 2"."""
    return f"position{'s' if len(labels) > 1 else ''} {', '.join(labels)}"


def verdict_grounds(verdict: Verdict) -> str:
    """What follows a decision: ", reason: heat; technician's heat level 3"; empty without either."""
    reason = f", reason: {REASONS[verdict.reason]}" if verdict.reason else ""
    heat = "" if verdict.heat is None else f"; technician's heat level {verdict.heat}"
    return reason + heat


def verdict_signature(verdict: Verdict) -> str:
    """Who gave a verdict, and when."""
    return signature(verdict.by, verdict.given_at)


def signature(by: str | None, moment: str) -> str:
    """Who said something, and when."""
    return ", ".join([*([by] if by else []), day(moment)])


def limit_words(measured: Measured) -> str:
    """A limit with where it is from: "at most 0.04 in (shop note 12)"; "none given" without one."""
    return f"{measured.limit_words} ({measured.limit_from})" if measured.limit_words else "none given"


def left_words(items: tuple[str, ...]) -> str:
    """The items of a checklist of which nothing is noted."""
    return f"Not done, nothing is noted of: {'; '.join(items)}." if items else ""


def earlier_place(verdict: Verdict) -> str:
    """Where a part lay in earlier photos, by the verdict that it was given then."""
    return f"position {verdict.target} then"


def no_own_verdict(whole: tuple[Verdict, ...]) -> str:
    """What stands for a part without a verdict of its own: the pack's that holds now, if there is one."""
    return f"with the whole pack: {DECISIONS[whole[-1].decision]}" if whole else NO_VERDICT


def fate_words(row: ThenNow) -> str:
    """What became of the part at a position, and how far its level moved: "left in then; 2 levels higher"."""
    return "; ".join(said for said in (FATES[row.fate], change_words(row)) if said)


def change_words(row: ThenNow) -> str:
    """How far the level at a position moved; empty where that cannot be said."""
    if row.then and row.now and row.then.part["kind"] != row.now.part["kind"]:
        return f"{row.then.part['kind']} then, {row.now.part['kind']} now"
    if (change := row.change) is None:
        return ""
    if change == 0:
        return "level as it was"
    return f"{how_many(abs(change), 'level')} {'higher' if change > 0 else 'lower'}"


def comparison_words(pair: Comparison, now: Teardown) -> list[str]:
    """How an element changed as a whole, in sentences."""
    then_profile, now_profile = pair.profiles
    said = [f"Then: {_profile_words(then_profile)}", f"Now: {_profile_words(now_profile)}"]
    if changes := pair.changes:
        hotter, cooler = (sum(sign * change > 0 for change in changes) for sign in (1, -1))
        same = len(changes) - hotter - cooler
        said.append(
            f"Of {how_many(len(changes), 'position')} graded both times {hotter} "
            f"show{'s' if hotter == 1 else ''} a higher level, {cooler} a lower one, {same} the same."
        )
    new = [f"{line.part} {', '.join(map(str, line.positions))}".strip() for line in pair.new]
    if new:
        said.append(f"By the verdicts of then this was replaced: {'; '.join(new)}.")
    if pair.earlier.mileage and now.mileage and now.mileage.km >= pair.earlier.mileage.km:
        run = now.mileage.km - pair.earlier.mileage.km
        said.append(f"Run since: {float(run):,.0f} km ({float(run / KM_PER_MILE):,.0f} mi).")
    if pair.other_rules:
        said.append(OTHER_RULES)
    return said


def _profile_words(profile: Profile) -> str:
    if not profile.graded:
        return "nothing graded."
    shows = "shows" if profile.hot == 1 else "show"
    heat = f"{profile.hot} of {how_many(profile.graded, 'graded part')} {shows} heat"
    worst = f", the most at position {profile.worst_at}, level {profile.worst}" if profile.hot else ""
    pattern = f" {PATTERNS[profile.pattern]}" if profile.pattern else ""
    return f"{heat}{worst}.{pattern}"


def place_words(place: int) -> str:
    """A place counted from the reaction end."""
    return "nearest" if place == 1 else f"{place}{'nd' if place == 2 else 'rd' if place == 3 else 'th'}"


def mileage_words(from_km: int) -> str:
    """A group of mileages by the kilometres at which it begins."""
    low, high = (f"{round(Mileage(str(km), 'km').miles):,}" for km in (from_km, from_km + STEP_KM))
    return f"{from_km:,} to {from_km + STEP_KM:,} km ({low} to {high} mi)"


def named_places(found: Followed) -> list[tuple[str, Heat]]:
    """A lining's plates by their place from the reaction end, in words."""
    return [(place_words(place), heat) for place, heat in found.by_place.items()]


def named_mileages(found: Followed) -> list[tuple[str, Heat]]:
    """A lining's plates by the mileage of their units, in words."""
    rest = [("not typed", found.without_mileage)] if found.without_mileage.n else []
    return [*((mileage_words(km), heat) for km, heat in found.by_mileage.items()), *rest]


def lining_words(found: Followed) -> str | None:
    """How often a lining was hot in this shop; None where too few plates were seen to say so."""
    if found.whole.share is None:
        return None
    return (
        f"Lining {found.lining} over all units of this shop so far: heat showed on {found.whole.hot} of "
        f"{found.whole.n} graded plates, {found.whole.packs} packs of {found.whole.units} units."
    )


def swatch_alt(level: int | None) -> str:
    """A level's box for those who cannot see it."""
    return "cannot tell" if level is None else f"level {level}"


def picture_alt(element: str) -> str:
    """The drawing of a pack for those who cannot see it; tables say the rest."""
    return f"{element}: heat level by position from the apply piston to the reaction end"


def picture_caption(picture: PackPicture) -> str:
    """How to read the drawing of a pack."""
    said = ["The pack from its edge. Number above a plate: heat level (? cannot tell). Below: position"]
    core = {FRICTION: " (with its core line)"}
    said += [f"{_MARKS[kind]}{core.get(kind, '')}" for kind in picture.kinds]
    if any(slot.kind is None for slot in picture.slots):
        said.append("Dashed: not photographed")
    return f"{'. '.join(said)}."


def profile_caption(kinds: Iterable[str]) -> str:
    """How to read the curve of a pack's heat scores."""
    seen = set(kinds)
    marks = [mark for kind, mark in _MARKS.items() if kind in seen]
    return f"{'. '.join(['Heat score by position', *marks])}."


def heat_news(labels: tuple[str, ...]) -> str:
    """Heat where none is expected, by the positions that show it."""
    return f"Heat where none is expected: {places(labels)}."


def gap_words(labels: Iterable[str]) -> list[str]:
    """Where a plate may have been missed, and what to do, by the positions behind the gaps."""
    gap = PROBLEMS[GAP]
    return [f"Position {label}: {gap.text} {gap.remedy}" for label in labels]


def own_reference_words(own: dict[str, tuple[str, ...]]) -> str:
    """What linings other than most of their document were compared with: words to positions."""
    said = [f"{places(labels)}: {words[0].lower()}{words[1:]}" for words, labels in own.items()]
    return f"; {'; '.join(said)}" if said else ""


def reference_words(reference: dict[str, Any]) -> str:
    """What the linings of a document were compared with, from its reference."""
    match reference["source"]:
        case "photo":
            file = f" ({base_name(reference['file'])})" if reference["file"] else ""
            return f"Compared with a photo of clean lining{file}"
        case "library":
            return f"Compared with the stored lining colour {reference['lining']}"
        case "cleanest part":
            return "Compared with the cleanest plate only: levels are relative to it"
        case _:
            return "There was no clean lining to compare with"
