"""The words of the trade and of the contract, each once, with the text shown to people."""

from collections.abc import Iterable
from dataclasses import dataclass

FRICTION, STEEL, REACTION, BAND = "friction plate", "steel plate", "reaction plate", "band"
KINDS = (FRICTION, STEEL, REACTION, BAND)
# What `--kinds` takes for each kind.
KIND_WORDS = {"friction": FRICTION, "steel": STEEL, "reaction": REACTION, "band": BAND}
LINED_KINDS = (FRICTION, BAND)

LINING_LEVELS = ("clean", "light heat", "heat-marked", "burnt", "charred")
STEEL_LEVELS = ("bare", "straw", "brown to purple", "blue", "grey")
CLEANEST_HERE = "cleanest here"
GLAZED = "glazed"

TINTS = ("bare", "straw", "brown", "purple", "blue", "grey", "other")

PATTERNS = (
    "reaction end",
    "apply end",
    "middle",
    "whole pack",
    "single plate",
    "one side",
    "none",
    "cannot tell",
)

LIGHT_METHODS = ("mat", "chart", "card", "paper", "metal", "reference", "none")
# Of the common 24-patch chart, whose maker changed the formulation in November 2014.
CHART_EDITIONS = ("after-2014", "before-2014")
REFERENCE_SOURCES = ("photo", "library", "cleanest part", "none")
VERDICTS = ("reuse", "replace", "resurface", "leave", "unsure")
REASONS = ("heat", "wear", "age", "wish", "policy", "unavailable", "other")

# What is said of something beside the packs: looked at and something found, looked at and nothing found, left
# out on purpose.
FOUND, NOTHING_FOUND, NOT_LOOKED_AT = OUTCOMES = ("found", "nothing-found", "not-looked-at")
INCH, MM = LENGTH_UNITS = ("in", "mm")

# Which way the apply piston pushes its pack: towards the input of the unit, or towards its output.
DIRECTIONS = ("forward", "rearward")
# What a shop expects of an element, with the sentence shown to people.
EXPECTATIONS = {
    "clean": "should always look clean",
    "shift": "shift element: heat at the reaction end is common",
    "seldom": "seldom used: heat is not expected",
}
# What a shop's own policy may settle, as people read it before a decision.
POLICY_CASES = {
    "hot_reaction_plate": "a reaction plate that shows heat",
    "colour_smear": "a steel plate with heat colours and no hot spot",
    "hot_spots": "a steel plate with hot spots",
    "heated_lining": "a lining that shows heat",
    "fresh_clean_pack": "a pack that shows no heat, of a customer who wants it fresh",
}
# What customers usually ask for; any other words will do.
FRESH = "make it fresh"
WISHES = ("replace what it needs", FRESH)


@dataclass(frozen=True, slots=True)
class Problem:
    """A reason why something is doubtful or missing.

    Attributes
    ----------
    name : str
        The phrase stored in documents. Never renamed, only added to.
    text : str
        One sentence for people.
    remedy : str
        What to do about it, one sentence.
    refuses : bool
        Whether a photo or part with it is left ungraded.
    short : str
        What stands on a marked photo, where the name is too long for it or too much of a program's.
    """

    name: str
    text: str
    remedy: str
    refuses: bool
    short: str = ""

    @property
    def label(self) -> str:
        """What stands on a marked photo."""
        return self.short or self.name


# Ways to know the light that rest on nothing of known colour in the photo.
WEAK_LIGHT = ("metal", "reference", "none")
SHOTS_DO_NOT_FIT, SHOTS_DISAGREE = "shots do not fit", "shots disagree"
SHOTS_EITHER_WAY = "shots fit either way"
GAP = "gap in the row"
ROWS = "more than one row"
STATED_DO_NOT_FIT = "stated parts do not fit"
ORDER_DOUBTS = (ROWS, STATED_DO_NOT_FIT)  # of a whole photo: the positions in it may be wrong
SHOTS_LEFT_OUT = (SHOTS_DO_NOT_FIT, SHOTS_EITHER_WAY)
PAPER_OR_CARD = "paper or card"
NO_NEUTRAL = "no neutral in view"
NO_CLEAN = "no clean reference"
# Why none of the shop's own linings is the clean one: that says more than that there is none.
NOT_RECOGNISED = FITS_NONE, NOT_CERTAIN = "fits no library lining", "lining not certain"
TWO_LIGHTS = "two lights"  # how a glaze was read, where not from one photo
# Why a second light was left out.
SECOND_NO_FIT, SECOND_NOT_KNOWN, SECOND_NOT_MOVED = SECOND_LEFT_OUT = (
    "second light does not fit",
    "second light not known",
    "second light not moved",
)

_PUBLISHED = (
    Problem(
        "blurred",
        "The photo is blurred.",
        "Hold still or rest the phone, and let it focus on the plate.",
        True,
    ),
    Problem(
        "photo on a page",
        "This is a screenshot, a scan or a photo on a page, not the photo itself.",
        "Give the file that the camera made.",
        True,
    ),
    Problem(
        "too dark",
        "The photo is too dark to compare colours.",
        "Turn on more light, or tap the plate on the phone's screen so that it exposes for it.",
        True,
    ),
    Problem(
        "blown highlights",
        "Large areas are blown out to white.",
        "Lower the exposure or turn the lamp away.",
        True,
    ),
    Problem(
        "no colour",
        "The photo is black and white.",
        "Take it in colour, and give the camera's own file.",
        True,
    ),
    Problem(
        "too small",
        "The part is too small in the photo.",
        "Come closer, so that the part fills more of the frame.",
        True,
    ),
    Problem(
        "cut off by the frame",
        "The frame cuts the part off.",
        "Step back until the whole part is in view.",
        True,
    ),
    Problem(
        "no part found",
        "No clutch plate or band was found in the photo.",
        "Lay the part flat on a plain surface, uncovered, whole in view. If it looks small, come closer.",
        True,
    ),
    Problem(
        "covered", "Something covers most of the face.", "Clear the part and take the photo again.", True
    ),
    Problem(
        "edge view",
        "The plate is seen from its edge, so its face cannot be judged.",
        "Lay it flat and photograph it from above.",
        True,
    ),
    Problem(
        NO_CLEAN,
        "There is no clean lining to compare with.",
        "Add a photo of a clean plate of the same lining.",
        True,
        "no clean plate",
    ),
    Problem(
        "lining too dark to show heat",
        "The clean lining is so dark that colour cannot show heat.",
        "Judge the lining by touch and smell, and look at the steels beside it.",
        True,
        "lining too dark",
    ),
    Problem(
        "uncertainty spans grades",
        "What was measured fits more than one heat level.",
        "If the colour is open, lay plain white paper or a grey card close beside the part, and beside the "
        "clean plate too, and take both again; if only the glaze is, take two with the lamp moved between.",
        True,
        "between levels",
    ),
    Problem(
        "demo lining",
        "The clean colour is a demo lining's, no reference for real plates.",
        "Use a photo of a clean plate of the same lining.",
        False,
    ),
    Problem(
        "wetness differs",
        "Part and clean reference are not both dry or both wet.",
        "Wash and dry both, or wet both.",
        False,
    ),
    Problem(
        "glare",
        "Glare hides part of the face.",
        "Turn the lamp or the part until the shine moves off.",
        False,
    ),
    Problem(
        "shadow across the part",
        "A shadow edge crosses the part.",
        "Move the lamp so that the light is even.",
        False,
    ),
    Problem("uneven light", "The light falls off across the photo.", "Move the lamp further away.", False),
    Problem(
        NO_NEUTRAL,
        "This photo or the clean plate's shows nothing of known colour, so heat levels are less sure.",
        "Put a sheet of plain white paper or a grey card in the picture, beside the clean plate too.",
        False,
    ),
    Problem(
        PAPER_OR_CARD,
        "The sheet in this photo, or the one beside the clean plate, may be white paper or a grey card: "
        "which of them cannot be told.",
        "Lay plain white paper beside both, whole in view and in full light, and take both photos again.",
        True,
        "paper or card?",
    ),
    Problem(
        "grain not resolved",
        "The photo is not close or sharp enough to show the lining's grain, so glazing was not measured.",
        "Come closer.",
        False,
    ),
    Problem(
        "colour profile unreadable",
        "The photo's colour profile could not be read, so its colours were taken for a usual photo's (sRGB).",
        "Give the camera's original file.",
        False,
    ),
    Problem(
        "does not fit the reference",
        "Heated or not, the clean lining that it was compared with does not look like this.",
        "Check that both are the same lining, in the same light, both dry or both wet. If it is another "
        "lining, give a photo of a clean plate of that one.",
        True,
        "another lining?",
    ),
    Problem(
        SECOND_NO_FIT,
        "The second photo does not lie on the first: the phone moved or shook, or it shows something else.",
        "Rest the phone on something, move only the lamp, and take both again.",
        False,
    ),
    Problem(
        "varnish or heat colour",
        "Part of the face may be heat colour, or varnish or rust that lies on the metal.",
        "Try a solvent on it: what comes off was no heat colour. Then take the photo again.",
        False,
    ),
    Problem(
        SECOND_NOT_KNOWN,
        "The second photo shows nothing of known colour, nor the first one's bench: it was left out.",
        "Put the same sheet of plain white paper or grey card in both photos.",
        False,
    ),
    Problem(
        SECOND_NOT_MOVED,
        "Both photos are lit alike, as if the lamp had not been moved: the second one was left out.",
        "Let the phone rest, move the lamp to another side of the parts, and take the second one again.",
        False,
    ),
    Problem(
        SHOTS_DO_NOT_FIT,
        "This shot shows other parts than the first one, or more or fewer: its parts were left out.",
        "Take every shot of the same parts, lying as they lie, all of them whole in view.",
        False,
    ),
    Problem(
        SHOTS_EITHER_WAY,
        "This shot fits the first one turned round as well: which plate is which cannot be told, so its "
        "parts were left out.",
        "Let plates and paper lie, put a tool at one end of the row, and take every shot with it in view.",
        False,
    ),
    Problem(
        SHOTS_DISAGREE,
        "The shots of this part differ by more than their light accounts for.",
        "Look for glare, oil or a shadow in one of them, and take it again.",
        False,
    ),
    Problem(
        FITS_NONE,
        "Heated or not, none of the shop's clean linings looks like this.",
        "Give a photo of a clean plate of this lining, or add it to the shop's clean linings.",
        True,
        "unknown lining",
    ),
    Problem(
        NOT_CERTAIN,
        "Several of the shop's clean linings could look like this, or heat has hidden which one it is.",
        "Say which one it is, or give a photo of a clean plate of this lining.",
        True,
        "which lining?",
    ),
    Problem(
        "too few pixels", "Too little of the face can be measured.", "Come closer or clear the face.", True
    ),
    Problem(
        STATED_DO_NOT_FIT,
        "Kinds or positions were stated for more or fewer parts than were found, so they may be shifted.",
        "Look at the marked photos, then state them again in the order found.",
        False,
    ),
    Problem(
        GAP,
        "In the row there is room for one more plate before this one.",
        "Look whether one was missed: this plate and all after it would move on by one position.",
        False,
    ),
    Problem(
        ROWS,
        "The plates lie in more than one row, so their positions may be wrong.",
        "Give every pack, and every row of one, a photo of its own, or say which position each plate has.",
        False,
    ),
    Problem(
        "mat does not lie flat",
        "The bench mat is curled or bent, so it gives neither scale nor colour.",
        "Lay it flat, weigh its corners down off the squares, and take the photo again.",
        False,
    ),
    Problem(
        "mat not calibrated",
        "The bench mat's printed colours are not known, so only its paper serves, as a white.",
        "Have them measured once, from a photo of the bare mat beside a grey card or 24-patch chart.",
        False,
    ),
    Problem(
        "mat colours do not fit",
        "The bench mat's squares do not look as they were measured, so they were not used.",
        "Clear and dry the squares, or calibrate the mat again if it is another print.",
        False,
    ),
    Problem(
        "chart does not fit",
        "What looks like a colour chart does not have a chart's colours, so it was not used.",
        "Lay it flat, whole, clean and dry, without shine on it, and do not mirror the photo.",
        False,
    ),
    Problem(
        "mat printed to another scale",
        "The bench mat was printed smaller or larger than asked; sizes are corrected by the sheet's edges.",
        "Print it again at 100 %, without fitting it to the page.",
        False,
    ),
    Problem(
        "verdict not in",
        "The grade is hidden until the verdict is in: this teardown is judged blind.",
        "Give the verdict on the part or its pack first.",
        True,
    ),
    Problem(
        "same photo twice", "The same photo was given twice and graded once.", "Leave one of them out.", False
    ),
)
PROBLEMS: dict[str, Problem] = {p.name: p for p in _PUBLISHED}


def worth_saying(names: Iterable[str]) -> list[str]:
    """Of the problems of one part, by name, those to tell: once each, and none that another says better."""
    told = list(dict.fromkeys(names))
    return [name for name in told if name != NO_CLEAN or not any(why in told for why in NOT_RECOGNISED)]


NO_PASS = "Level 0 is no pass: a photo shows heat, not thickness, flatness or bond."  # nosec B105: no password

CAUTIONS = (
    "Dust from old or unknown linings may hold asbestos: treat it as if it did. Use a HEPA vacuum enclosure "
    "or a low-pressure wet method, wipe with a wet cloth, and never brush dry or blow with compressed air.",
    "Fluid may be hot or under pressure, and springs and pistons may be under load: let the unit cool, "
    "release the pressure, wear eye protection.",
    "A photo shows heat on a surface. It shows no thickness, flatness, bond or hydraulic fault, and nothing "
    "here says that a unit is fit to drive. Have a doubtful unit checked before it goes on the road.",
    "Local codes, the manual of the unit and the judgement of a licensed or qualified technician come first.",
)


def how_many(n: int, noun: str) -> str:
    """A number with what it counts: "1 plate", "2 plates"."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"
