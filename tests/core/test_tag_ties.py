"""What tags of one part tell of each other: against weighted least squares on all readings."""

import numpy as np
import pytest

from trainer.core.tag_ties import UNKNOWN_RAD2, Ties


def spread(rng, size_deg):
    root = rng.normal(size=(3, 3)) * np.radians(size_deg)
    return root @ root.T + np.eye(3) * np.radians(size_deg / 10) ** 2


def least_squares(rows, values, weights):
    """Return numpy's own least squares of ``rows`` x = ``values`` and the covariance of x."""
    roots = [np.linalg.cholesky(np.linalg.inv(w)).T for w in weights]
    left = np.vstack([root @ row for root, row in zip(roots, rows, strict=True)])
    right = np.concatenate([root @ value for root, value in zip(roots, values, strict=True)])
    found = np.linalg.lstsq(left, right, rcond=None)[0]
    return found, np.linalg.inv(left.T @ left)


def test_two_tags_seen_at_once_tell_what_least_squares_tells():
    # The reference is numpy.linalg.lstsq over everything known (Gauss-Markov).
    rng = np.random.default_rng(1)
    own, noise = [spread(rng, 4), spread(rng, 9)], [spread(rng, 2), spread(rng, 1)]
    said = [rng.normal(size=3) * 0.05, rng.normal(size=3) * 0.05]
    told = Ties({0: own[0], 1: own[1]}).told([(0, said[0], noise[0]), (1, said[1], noise[1])])
    nil, one = np.zeros((3, 3)), np.eye(3)
    rows = [np.hstack(r) for r in ([one, nil, nil], [nil, one, nil], [nil, nil, one])]
    rows += [np.hstack([one, one, nil]), np.hstack([one, nil, one])]
    values = [np.zeros(3)] * 3 + said
    found, left = least_squares(rows, values, [one * UNKNOWN_RAD2, *own, *noise])
    assert told.turned == pytest.approx(found[:3], abs=1e-9)
    assert told.mounts[0] == pytest.approx(found[3:6], abs=1e-9)
    assert told.mounts[1] == pytest.approx(found[6:], abs=1e-9)
    assert told.spread == pytest.approx(left[:3, :3], abs=1e-9)
    assert told.left == pytest.approx(left[3:, 3:], abs=1e-9)


def test_a_tag_learned_beside_another_never_gets_surer_than_that():
    rng = np.random.default_rng(2)
    chest, noise = np.eye(3) * np.radians(5) ** 2, np.eye(3) * np.radians(1) ** 2
    ties = Ties({0: chest})
    ties.add(1, np.eye(3) * UNKNOWN_RAD2)
    for _ in range(500):
        ties.keep(ties.told([(n, rng.normal(size=3) * 0.01, noise) for n in (0, 1)]))
    assert np.all(np.linalg.eigvalsh(ties.of(1)) > 0.98 * np.radians(5) ** 2)
    # How they lie to each other is known by the mean of 500.
    beside = ties.between(0, 1)
    assert beside == pytest.approx(2 * noise / 500, rel=0.05, abs=1e-9)


def test_a_guess_from_elsewhere_makes_a_lone_tag_surer():
    own, noise, guess = (np.eye(3) * np.radians(deg) ** 2 for deg in (8, 1, 3))
    ties = Ties({0: own})
    assert ties.told([(0, np.zeros(3), noise)]).left == pytest.approx(own, rel=1e-3, abs=1e-9)
    ties.keep(ties.told([(0, np.zeros(3), noise)], guess))
    # Two readings of one value (Gauss): the variance is the product over the sum.
    other = 3**2 + 1**2
    assert np.degrees(np.sqrt(ties.of(0)[0, 0])) == pytest.approx(
        np.sqrt(64 * other / (64 + other))
    )


def test_after_a_new_setup_an_unseen_tag_is_as_sure_as_the_one_it_hangs_on():
    rng = np.random.default_rng(3)
    ties = Ties({0: np.eye(3) * np.radians(6) ** 2})
    ties.add(1, np.eye(3) * UNKNOWN_RAD2)
    noise = np.eye(3) * np.radians(1) ** 2
    for _ in range(20):
        ties.keep(ties.told([(n, rng.normal(size=3) * 0.01, noise) for n in (0, 1)]))
    beside = ties.between(1, 0)
    fresh = np.eye(3) * np.radians(2) ** 2
    ties.rezeroed({0: fresh}, by=0)
    assert ties.of(0) == pytest.approx(fresh)
    assert ties.of(1) == pytest.approx(fresh + beside)
    assert ties.between(1, 0) == pytest.approx(beside)


def test_errors_counted_in_other_axes_keep_their_size():
    rng = np.random.default_rng(4)
    one = spread(rng, 5)
    ties = Ties({0: one, 1: spread(rng, 3)})
    quarter = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    ties.turned(quarter)
    assert ties.of(0) == pytest.approx(quarter @ one @ quarter.T)


def test_a_tag_forgotten_leaves_the_others_as_they_were():
    rng = np.random.default_rng(5)
    kept = spread(rng, 3)
    ties = Ties({0: spread(rng, 5), 1: kept})
    ties.drop(0)
    ties.drop(7)
    assert ties.numbers == [1]
    assert ties.of(1) == pytest.approx(kept)
