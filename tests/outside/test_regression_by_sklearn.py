"""The kernel ridge regression against scikit-learn's, on made-up numbers.

scikit-learn's kernel is exp(-gamma |x - y|^2); ours divides the squared distance by the number
of features, so gamma is width / F. Its alpha is our ridge.
"""

import numpy as np
import pytest
from sklearn.kernel_approximation import Nystroem
from sklearn.kernel_ridge import KernelRidge
from sklearn.linear_model import Ridge
from sklearn.metrics.pairwise import rbf_kernel
from sklearn.preprocessing import StandardScaler

from trainer.core import estimate as est
from trainer.lab import fit

SIZES = [(60, 5, 2), (150, 231, 6), (40, 3, 1)]  # rows, features, outputs


def data(seed, rows, features, outputs):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(rows, features))
    y = np.sin(x[:, :1] * 2) + x @ rng.normal(size=(features, outputs)) / np.sqrt(features)
    return x, y, rng.normal(size=(25, features))


@pytest.mark.parametrize(("rows", "features", "outputs"), SIZES)
@pytest.mark.parametrize("width", [0.3, 2.0])
def test_the_kernel_is_scikit_learns(rows, features, outputs, width):
    x, _, new = data(1, rows, features, outputs)
    expected = rbf_kernel(new, x, gamma=width / features)
    np.testing.assert_allclose(est.kernel(new, x, width), expected, atol=1e-12)
    np.testing.assert_allclose(est.kernel(new[:3], x, width), expected[:3], atol=1e-12)


@pytest.mark.parametrize(("rows", "features", "outputs"), SIZES)
@pytest.mark.parametrize(("width", "ridge"), [(0.3, 0.1), (2.0, 0.05), (2.0, 3.0)])
def test_with_every_row_a_centre_it_is_kernel_ridge_regression(
    rows, features, outputs, width, ridge
):
    x, y, new = data(2, rows, features, outputs)
    known = KernelRidge(alpha=ridge, kernel="rbf", gamma=width / features).fit(x, y)
    weights = fit.solve(x, x, y, width, ridge)
    said = est.kernel(new, x, width) @ weights
    # Our 1e-6 on the diagonal, there for centres that coincide, is all that may tell them apart.
    expected = known.predict(new)
    np.testing.assert_allclose(said, expected, atol=1e-3 * np.abs(expected).max())


@pytest.mark.parametrize(("rows", "features", "outputs"), SIZES)
@pytest.mark.parametrize("ridge", [0.1, 3.0])
def test_with_fewer_centres_it_is_ridge_regression_on_the_nystroem_features(
    rows, features, outputs, ridge
):
    x, y, new = data(3, rows, features, outputs)
    width, count = 2.0, rows // 3
    reduced = Nystroem(
        kernel="rbf", gamma=width / features, n_components=count, random_state=4
    ).fit(x)
    known = Ridge(alpha=ridge, fit_intercept=False).fit(reduced.transform(x), y)
    centres = x[reduced.component_indices_]
    said = est.kernel(new, centres, width) @ fit.solve(x, centres, y, width, ridge)
    expected = known.predict(reduced.transform(new)).reshape(said.shape)
    np.testing.assert_allclose(said, expected, atol=1e-3 * np.abs(expected).max())


def test_a_stronger_ridge_draws_the_answer_towards_none_as_scikit_learns_does():
    x, y, new = data(5, 80, 10, 3)
    sizes, known_sizes = [], []
    for ridge in (0.01, 1.0, 100.0):
        sizes.append(np.abs(est.kernel(new, x, 2.0) @ fit.solve(x, x, y, 2.0, ridge)).mean())
        known = KernelRidge(alpha=ridge, kernel="rbf", gamma=0.2).fit(x, y)
        known_sizes.append(np.abs(known.predict(new)).mean())
    assert sizes == sorted(sizes, reverse=True)
    assert sizes == pytest.approx(known_sizes, abs=1e-3)


def test_a_whole_reading_is_what_scikit_learn_says_of_the_scaled_row():
    """The whole way of a reading: scaled, held within the limit, kernel, weights, offset."""
    rng = np.random.default_rng(6)
    features = 240
    raw = rng.normal(3.0, 2.0, size=(90, features))
    y = rng.normal(size=(90, 4))
    mean, scale, offset = raw.mean(axis=0), raw.std(axis=0), y.mean(axis=0)
    relevance = rng.uniform(0.2, 3.0, features)
    x = np.clip((raw - mean) / scale, -est.LIMIT, est.LIMIT) * relevance
    known = KernelRidge(alpha=0.1, kernel="rbf", gamma=0.3 / features).fit(x, y - offset)
    fitted = est.Estimator(
        outputs=("one", "two"),
        mean=mean,
        scale=scale,
        relevance=relevance,
        centres=x,
        width=0.3,
        weights=known.dual_coef_,
        offset=offset,
    )
    new = rng.normal(3.0, 2.0, size=(20, features))
    new[0] *= 50.0  # far from all that was fitted: held within the limit
    held = np.clip((new - mean) / scale, -est.LIMIT, est.LIMIT) * relevance
    np.testing.assert_allclose(est._run(fitted, new), known.predict(held) + offset, atol=1e-9)


def test_a_machine_fitted_on_poses_reads_as_scikit_learns_less_its_reading_at_setup():
    """The fit as it is called: scales, centres, offset, and the zero that each setup takes off."""
    rng = np.random.default_rng(8)
    poses, people = 120, 12
    person = np.repeat(np.arange(people), poses // people)
    features = rng.normal(size=(poses, 206)) * rng.uniform(0.1, 3.0, 206)
    targets = np.sin(features[:, :2]) * [30.0, 8.0] + features[:, 3:5] + [40.0, -15.0]
    choice = fit.Choice(ridge=0.05, width=0.4, centres=poses, folds=3, steps=0)
    outputs = ("shoulder_turn_deg", "chest_pitch_deg")
    moving = np.ones(poses, dtype=bool)
    made = fit.machine(features, targets, person, moving, outputs, choice, 1)
    scaled = StandardScaler().fit(features)
    mean = targets.mean(axis=0)
    known = KernelRidge(alpha=0.05, kernel="rbf", gamma=0.4 / 206)
    known.fit(scaled.transform(features), targets - mean)

    new = rng.normal(size=(15, 206)) * features.std(axis=0)
    value, se = est.predict(made, new)
    expected = known.predict(scaled.transform(new)) + mean
    # What is 0 at setup is fitted as it is told, less the reading at the setup: a ridge on the
    # kernels' differences, in the coordinates in which the kernel matrix is the identity.
    held = scaled.transform(features)
    root = np.linalg.cholesky(rbf_kernel(held, gamma=0.4 / 206) + 1e-9 * np.eye(poses))

    def moved(rows):
        now, still = (scaled.transform(part) for part in (rows, est.at_setup(rows)))
        apart = rbf_kernel(now, held, gamma=0.4 / 206) - rbf_kernel(still, held, gamma=0.4 / 206)
        return np.linalg.solve(root, apart.T).T

    turn = Ridge(alpha=0.05, fit_intercept=False).fit(moved(features), targets[:, 0])
    expected[:, 0] = turn.predict(moved(new))
    # The centres are kept in half precision, 3 digits, and the scales have 0.001 added.
    np.testing.assert_allclose(value, expected, atol=0.02 * np.abs(targets - mean).max())
    assert np.ptp(value[:, 0]) > 5.0
    assert (se > 0).all()
