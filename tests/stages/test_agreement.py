"""Agreement over a shop's packs, and thresholds from its eye."""

import numpy as np
import pytest

from tests.accuracy.shop_eye import CURRENT, eye_of, is_recovered
from wearview.agreement import (
    QUARTER,
    SIGHT,
    TECHNICIAN,
    Counted,
    Eye,
    Rated,
    agree,
    changed,
    levels,
    propose,
    sums_of,
)
from wearview.agreement.kappa import kappa_values, quadratic_weights


def by(parts, grouping):
    return Counted(sums_of(parts)).by(grouping)


def rated(part, pack, level, heat, decision="replace", by="Ines", at="2024-05-03T10:00:00+00:00"):
    return Rated(f"{pack}-{part}", str(part), str(pack), level, heat, decision, by, at)


def shop(packs=30, plates=6, seed=0):
    """Parts of many packs; the technician is off by one now and then."""
    rng = np.random.default_rng(seed)
    for pack in range(packs):
        base = int(rng.integers(0, 5))
        for plate in range(plates):
            level = int(np.clip(base + rng.integers(-1, 2), 0, 4))
            yield rated(plate, pack, level, int(np.clip(level + rng.choice([-1, 0, 0, 0, 1]), 0, 4)))


def test_doubling_every_plate_inside_its_pack_does_not_narrow_the_interval():
    once = agree(list(shop()))
    twice = agree([part for part in shop() for _ in range(2)])
    assert twice.n == 2 * once.n
    assert twice.kappa == pytest.approx(once.kappa, abs=1e-12)
    narrow, wide = np.ptp(twice.interval), np.ptp(once.interval)
    assert narrow == pytest.approx(wide, rel=1e-9)


def test_the_interval_holds_the_figure():
    found = agree(list(shop()))
    assert found.interval[0] < found.kappa < found.interval[1] <= 1


def test_under_fifty_pairs_no_kappa_is_given():
    found = agree(list(shop())[:49])
    assert (found.kappa, found.interval, found.notes) == (None, None, ("too few pairs",))
    assert found.n == 49


def test_one_level_throughout_is_told_as_too_little_variety():
    found = agree([rated(i, i, 2, 2) for i in range(60)])
    assert (found.kappa, found.notes, found.exact) == (None, ("too little variety",), 1.0)


def test_few_packs_are_told():
    assert agree(list(shop(packs=23))).notes == ("few packs",)
    assert agree(list(shop(packs=24))).notes == ()


def test_a_part_without_both_levels_counts_nowhere_in_the_agreement():
    full = list(shop())
    without = [rated(1, 90, None, 3), rated(2, 90, 3, None)]
    assert np.array_equal(agree(full).counts, agree([*full, *without]).counts)


def test_a_decision_against_the_grade_is_in_the_table_and_changes_no_kappa():
    fresh = [rated(i, i, 0, 0, decision="replace") for i in range(3)]
    kept = [rated(9, 9, None, None, decision="reuse")]
    table = Counted(sums_of([*fresh, *kept])).decisions
    assert table["replace"] == (3, 0, 0, 0, 0, 0)
    assert table["reuse"] == (0, 0, 0, 0, 0, 1)
    assert agree(fresh).exact == 1.0


def test_groups_are_by_technician_and_by_quarter():
    parts = [
        rated(1, 1, 1, 1, by="Ines", at="2024-03-31T23:00:00+00:00"),
        rated(2, 1, 1, 2, by="Tomas", at="2024-04-01T01:00:00+00:00"),
        rated(3, 1, 1, 2, by=None, at="2024-12-01T01:00:00+00:00"),
    ]
    assert {name: a.n for name, a in by(parts, TECHNICIAN).items()} == {"Ines": 1, "Tomas": 1}
    assert list(by(parts, QUARTER)) == ["2024-Q1", "2024-Q2", "2024-Q4"]


def test_one_technicians_quarters_are_his_alone():
    parts = [rated(1, 1, 1, 1, by="Ines"), rated(2, 1, 1, 1, by="Ann Ines"), rated(3, 1, 1, 1, by="Ines")]
    assert {q: a.n for q, a in Counted(sums_of(parts)).by_quarter_of("Ines").items()} == {"2024-Q2": 2}


def test_sums_kept_up_pack_by_pack_are_those_of_all_parts_at_once():
    parts, kept, told = list(shop()), {}, {}
    rng = np.random.default_rng(3)
    for _ in range(400):  # a pack is judged, judged otherwise, or judged no more
        pack = str(rng.integers(30))
        mine = [part for part in parts if part.pack == pack]
        now = mine[: rng.integers(0, len(mine) + 1)]
        new = changed(kept, sums_of(told.get(pack, [])), sums_of(now))
        told[pack] = now
        kept = {group: row for group, row in (kept | new).items() if any(row)}
    assert kept == sums_of([part for mine in told.values() for part in mine])


def drawn_anew(parts, draws=8000):
    """The interval from packs really drawn: B. Efron's bootstrap over clusters."""
    tables = {}
    for part in parts:
        tables.setdefault(part.pack, np.zeros((5, 5)))[part.pair] += 1
    packs = np.array(list(tables.values())).reshape(len(tables), 25)
    drawn = np.random.default_rng(7).multinomial(len(packs), np.full(len(packs), 1 / len(packs)), draws)
    return np.quantile(kappa_values((drawn @ packs).reshape(-1, 5, 5), quadratic_weights(5)), [0.025, 0.975])


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("packs", "share"), [(24, 0.15), (60, 0.06), (200, 0.06)])
def test_the_interval_is_that_of_packs_really_drawn(packs, share, seed):
    parts = list(shop(packs, seed=seed))
    drawn, found = drawn_anew(parts), agree(parts).interval
    # Of the width: what 8000 draws leave open (0.03), and what the normal distribution is off by.
    assert np.abs(drawn - found).max() < share * np.ptp(drawn)


def test_a_larger_share_never_gets_a_lower_level():
    eye = eye_of(CURRENT)
    more = Eye(np.minimum(eye.values + 0.07, 1), eye.held, eye.raised, 2, eye.heat, eye.pack)
    for thresholds in ((0.25,) * 4, (0.6, 0.1, 0.4, 0.05)):
        assert (levels(more, np.array(thresholds)) >= levels(eye, np.array(thresholds))).all()


def test_few_parts_or_few_packs_propose_nothing():
    assert propose(eye_of((0.25, 0.5, 0.25, 0.25), packs=20), CURRENT) is None
    assert propose(eye_of((0.25, 0.5, 0.25, 0.25), packs=24, plates=2), CURRENT) is None


# `python -m tests.accuracy.shop_eye` runs 100 of each on other seeds. Asked: 85 of 100, so 17 of 20.
@pytest.mark.parametrize(("row", "true"), [(0, 0.4), (1, 0.45), (2, 0.15)])
def test_a_shop_with_a_shifted_eye_is_recovered_within_the_stated_interval(row, true):
    recovered = [is_recovered(row, true, seed) for seed in range(20)]
    assert sum(recovered) >= 17


def test_a_shop_that_agrees_already_gets_no_proposal():
    assert sum(propose(eye_of(CURRENT, seed=seed), CURRENT) is not None for seed in range(20)) <= 1


def test_rows_that_do_not_differ_keep_their_threshold_and_something_is_gained():
    proposal = propose(eye_of((0.25, 0.45, 0.25, 0.25)), CURRENT)
    assert proposal.rows[1].differs
    assert all(row.proposed == row.current for row in proposal.rows if not row.differs)
    gained = proposal.error_before - proposal.error_after
    assert gained > 0
    assert proposal.gain[0] < gained < proposal.gain[1]


def test_blind_verdicts_are_told_apart_from_those_with_the_grade_in_sight():
    seen = [Rated(f"s{i}", "1", str(i), i % 5, i % 5, "replace", None, "2024-05", False) for i in range(60)]
    blind = [
        Rated(f"b{i}", "1", str(i), i % 5, (i + 1) % 5, "replace", None, "2024-05", True) for i in range(60)
    ]
    found = by([*seen, *blind, rated(1, 1, 2, 2)], SIGHT)
    assert {name: a.n for name, a in found.items()} == {"blind": 60, "grade in sight": 60, "not noted": 1}
    assert found["grade in sight"].kappa == 1
    assert found["blind"].kappa < 1
