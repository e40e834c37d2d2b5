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
SIZE = (512, 384)  # width, height of the pictures that are made
NET_SIZE = (384, 288)  # of what the network takes: as good as 512 by 384, in half the time
OFFSET_UNIT = 64.0  # pixels of the latter; offsets to a plate's centre are learned in this unit
