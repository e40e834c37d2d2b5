"""Overlays and masks from results. Draws and measures nothing."""

from wearview.draw.masks import part_masks
from wearview.draw.overlay import overlay_photo

__all__ = ["overlay_photo", "part_masks"]
