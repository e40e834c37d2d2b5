"""What a pixel can show, by the network's channels; `wearview.parts.learned` names the same."""

LABELS = (
    "bench",
    "lining",
    "steel",
    "teeth",
    "hole",
    "clutter",
    "sheet",
    "band lining",
    "strap",
    "edge view",
)
BENCH, LINING, STEEL, TEETH, HOLE, CLUTTER, SHEET, BAND_LINING, STRAP, EDGE_VIEW = range(len(LABELS))
SIZE = (512, 384)  # width, height of the network's picture
OFFSET_UNIT = 64.0  # pixels of that picture; offsets to a plate's centre are learned in this unit
