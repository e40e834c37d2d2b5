"""More light, for the broad catalogue; conventions are those of `bench`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator

from tests.scenes.bench import BULB, DAYLIGHT, LED, LIGHTS, Lamp, Light, flash, room_around, window

WARM_LED, COLD_LED = (1.16, 0.99, 0.74), (0.88, 1.0, 1.20)


def ceiling_panel(rng: Generator) -> Light:
    """A square LED panel overhead, neutral white."""
    at = (rng.uniform(-500, 500), rng.uniform(-200, 700), rng.uniform(1500, 1900))
    lamp = Lamp(at, (at[0], at[1], 0.0), (300, 300), LED, 0.75)
    return Light("ceiling panel", (lamp,), room_around(rng, (1.0, 1.0, 1.0), 0.35), None)


def head_lamp(rng: Generator) -> Light:
    """A cold lamp on the forehead of whoever holds the phone."""
    at = (rng.uniform(-90, 90), rng.uniform(-520, -260), rng.uniform(560, 800))
    lamp = Lamp(at, (0, 0, 0), (14, 14), COLD_LED, 0.6)
    return Light("head lamp", (lamp,), room_around(rng, (1.05, 1.0, 0.9), 0.5), None)


def work_lamps(rng: Generator) -> Light:
    """Two spots from both sides: two shadows."""
    turn = rng.uniform(0, np.pi)
    lamps = []
    for side, share in ((0.0, 0.42), (np.pi * rng.uniform(0.7, 1.3), rng.uniform(0.2, 0.4))):
        at = (900 * np.cos(turn + side), 900 * np.sin(turn + side), rng.uniform(800, 1400))
        lamps.append(Lamp(at, (0, 0, 0), (60, 60), WARM_LED, share))
    return Light("work lamps", tuple(lamps), room_around(rng, WARM_LED, 0.3), None)


def garage_door(rng: Generator) -> Light:
    """Overcast sky through an open door: broad, low and a little blue."""
    side = rng.uniform(0, 2 * np.pi)
    at = (3200 * np.cos(side), 3200 * np.sin(side), rng.uniform(1300, 1800))
    lamp = Lamp(at, (0, 0, 0), (1300, 1500), (0.9, 1.0, 1.18), 0.75)
    return Light("garage door", (lamp,), room_around(rng, (1.0, 1.0, 1.02), 0.35), None)


def mixed(rng: Generator) -> Light:
    """Evening: what is left of the day from a window, a warm bulb from above."""
    side = rng.uniform(0, 2 * np.pi)
    sky = Lamp(
        (2300 * np.cos(side), 2300 * np.sin(side), 1500),
        (0, 0, 0),
        (700, 800),
        DAYLIGHT,
        rng.uniform(0.3, 0.5),
    )
    bulb = Lamp((rng.uniform(-500, 500), 300.0, 1500.0), (0, 0, 0), (50, 50), BULB, rng.uniform(0.15, 0.35))
    return Light("mixed", (sky, bulb), room_around(rng, (1.1, 1.0, 0.85), 0.3), None)


def _panel_on_arm(rng: Generator, name: str, colour: tuple[float, float, float]) -> Light:
    """A hand-sized LED panel on an arm, the room lit by its like."""
    side = rng.uniform(0.1, np.pi - 0.1)
    at = (700 * np.cos(side), 700 * np.sin(side), rng.uniform(900, 1300))
    lamp = Lamp(at, (0, 0, 0), (70, 70), colour, 0.62)
    return Light(name, (lamp,), room_around(rng, colour, 0.4), None)


def warm_led(rng: Generator) -> Light:
    """A warm white LED panel, about 3000 K."""
    return _panel_on_arm(rng, "warm LED", (1.34, 0.98, 0.56))


def cold_led(rng: Generator) -> Light:
    """A cold white LED panel, about 6500 to 7500 K."""
    return _panel_on_arm(rng, "cold LED", COLD_LED)


MORE_LIGHTS: dict[str, Callable[[Generator], Light]] = {
    "ceiling panel": ceiling_panel,
    "head lamp": head_lamp,
    "work lamps": work_lamps,
    "garage door": garage_door,
    "mixed": mixed,
}
HELD_OUT_LIGHTS = ("garage door", "work lamps")
# What a shop's photos are taken in from one day to the next, in `four_lights`.
FOUR_LIGHTS: dict[str, Callable[[Generator], Light]] = {
    "warm LED": warm_led,
    "cold LED": cold_led,
    "window": window,
    "flash": flash,
}
ALL_LIGHTS = {**LIGHTS, **MORE_LIGHTS, **FOUR_LIGHTS}
